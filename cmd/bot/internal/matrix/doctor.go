//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"
)

// mostSkew is how far the machine's clock may be from the homeserver's.
const mostSkew = time.Minute

// Doctor looks at the account: whether the homeserver answers and knows the
// login, whether the device's keys there are ours and signed, whether others find
// keys to write to it, whether the clocks agree. It changes nothing.
func Doctor(ctx context.Context, s Settings, p Parts) (found []Finding) {
	add := func(what string, good bool, format string, values ...any) {
		found = append(found, Finding{what, good, fmt.Sprintf(format, values...)})
	}
	l, err := open(s, p)
	if err != nil {
		add("settings", false, "%v", err)
		return found
	}
	before := l.now()
	versions, err := l.cli.Versions(ctx)
	if err != nil {
		add("homeserver", false, "%s does not answer: %v", s.Homeserver, err)
		return found
	}
	newest := versions.GetLatest()
	add("homeserver", true, "%s answers, Matrix %s", s.Homeserver, newest.String())
	l.skew(ctx, before, add)
	if _, err := l.cli.Whoami(ctx); err != nil {
		add("login", false, "%v", explained(err))
		return found
	}
	add("login", true, "%s, device %s", l.cli.UserID, l.cli.DeviceID)
	if err := l.mach.Load(ctx); err != nil {
		add("keys", false, "%v", err)
		return found
	}
	l.lookAtKeys(ctx, add)
	var joined, quiet int
	for _, one := range l.rooms.all {
		if one.Joined {
			joined++
			if one.Encryption == nil {
				quiet++
			}
		}
	}
	add("rooms", true, "%d, of which %d are not encrypted", joined, quiet)
	return found
}

// skew compares the clocks.
func (l *line) skew(ctx context.Context, before time.Time, add func(string, bool, string, ...any)) {
	_, r, err := l.cli.MakeFullRequestWithResp(ctx, mautrix.FullRequest{Method: http.MethodGet, URL: l.cli.BuildURL(mautrix.ClientURLPath{"versions"})})
	if err != nil {
		return
	}
	at, err := http.ParseTime(r.Header.Get("Date"))
	if err != nil {
		return
	}
	off := at.Sub(before).Abs()
	add("clock", off < mostSkew, "%s from the homeserver's; at most %s is expected", off.Round(time.Second), mostSkew)
}

// lookAtKeys compares the device's keys on the homeserver with ours.
func (l *line) lookAtKeys(ctx context.Context, add func(string, bool, string, ...any)) {
	r, err := l.cli.QueryKeys(ctx, &mautrix.ReqQueryKeys{DeviceKeys: mautrix.DeviceKeysRequest{l.cli.UserID: {l.cli.DeviceID}}})
	if err != nil {
		add("keys", false, "%v", err)
		return
	}
	there := r.DeviceKeys[l.cli.UserID][l.cli.DeviceID]
	ours := l.mach.OwnIdentity()
	same := there.Keys.GetEd25519(l.cli.DeviceID) == ours.SigningKey && there.Keys.GetCurve25519(l.cli.DeviceID) == ours.IdentityKey
	add("keys", same, "%s", map[bool]string{
		true: "the homeserver has this device's keys", false: "the homeserver has other keys for this device; run bot matrix login --recover",
	}[same])
	signing := r.SelfSigningKeys[l.cli.UserID]
	signer := signing.FirstKey()
	_, signed := there.Signatures[l.cli.UserID][id.NewKeyID(id.KeyAlgorithmEd25519, signer.String())]
	add("signature", signer != "" && signed, "%s", map[bool]string{
		true: "the device is signed by its account: nobody is warned of it", false: "the device is not signed, and people are warned of it; run bot matrix login --recover",
	}[signer != "" && signed])
	up, err := l.cli.UploadKeys(ctx, &mautrix.ReqUploadKeys{})
	if err != nil {
		add("one-time keys", false, "%v", err)
		return
	}
	n := up.OneTimeKeyCounts.SignedCurve25519
	add("one-time keys", n > 0, "%d; bot serve leaves new ones", n)
}
