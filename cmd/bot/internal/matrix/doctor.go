//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto/signatures"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// mostSkew is how far the machine's clock may be from the homeserver's.
const mostSkew = time.Minute

// doctor is one look at the account.
type doctor struct {
	*line
	settings Settings
	found    []Finding
}

func (d *doctor) good(what, format string, values ...any) {
	d.found = append(d.found, Finding{what, true, fmt.Sprintf(format, values...)})
}

func (d *doctor) wrong(what, format string, values ...any) {
	d.found = append(d.found, Finding{what, false, fmt.Sprintf(format, values...)})
}

// Doctor looks at the account: whether the homeserver answers and knows the
// login, whether the device's keys there are ours and signed, whether others find
// keys to write to it, whether a lost device could be replaced, whether the clocks
// agree, whether the lists of who may invite name anybody, and whether the bot may
// speak in its rooms. It changes nothing.
func Doctor(ctx context.Context, s Settings, p Parts) []Finding {
	d := &doctor{settings: s}
	var err error
	if d.line, err = open(s, p); err != nil {
		d.wrong("settings", "%v", err)
		return d.found
	}
	d.pickleFile()
	versions, err := d.cli.Versions(ctx)
	if err != nil {
		d.wrong("homeserver", "%s does not answer: %v; look whether the address is right and the homeserver runs", s.Homeserver, err)
		return d.found
	}
	newest := versions.GetLatest()
	d.good("homeserver", "%s answers, Matrix %s", s.Homeserver, newest.String())
	d.clocks(ctx)
	if _, err := d.cli.Whoami(ctx); err != nil {
		d.wrong("login", "%v", explained(err))
		return d.found
	}
	d.good("login", "%s, device %s", d.cli.UserID, d.cli.DeviceID)
	if err := d.mach.Load(ctx); err != nil {
		d.wrong("keys", "%v", err)
		return d.found
	}
	d.lists(ctx)
	d.keys(ctx)
	d.left(ctx)
	d.recovery(ctx)
	d.devices(ctx)
	d.inRooms(ctx)
	d.waits()
	return d.found
}

// pickleFile looks who else can read the key of the keys.
func (d *doctor) pickleFile() {
	at := d.settings.PickleFile
	if at == "" {
		return
	}
	info, err := os.Stat(at)
	if err == nil && info.Mode().Perm()&0o077 != 0 {
		d.wrong("pickle key", "%s can be read by others, who could open the bot's keys with it; chmod 600 it", at)
	}
}

// clocks compares this machine's with the homeserver's.
func (d *doctor) clocks(ctx context.Context) {
	before := d.now()
	_, r, err := d.cli.MakeFullRequestWithResp(ctx, mautrix.FullRequest{Method: http.MethodGet, URL: d.cli.BuildURL(mautrix.ClientURLPath{"versions"})})
	if err != nil {
		return
	}
	at, err := http.ParseTime(r.Header.Get("Date"))
	if err != nil {
		return
	}
	if off := at.Sub(before).Abs().Round(time.Second); off < mostSkew {
		d.good("clock", "%s from the homeserver's", off)
	} else {
		d.wrong("clock", "%s from the homeserver's, so times and deadlines are off by as much; set this machine's clock by a time server", off)
	}
}

// keys compares the device's keys on the homeserver with ours, and checks who
// signed them.
func (d *doctor) keys(ctx context.Context) {
	r, err := d.cli.QueryKeys(ctx, &mautrix.ReqQueryKeys{DeviceKeys: mautrix.DeviceKeysRequest{d.cli.UserID: {d.cli.DeviceID}}})
	if err != nil {
		d.wrong("keys", "%v", err)
		return
	}
	there := r.DeviceKeys[d.cli.UserID][d.cli.DeviceID]
	ours := d.mach.OwnIdentity()
	if there.Keys.GetEd25519(d.cli.DeviceID) != ours.SigningKey || there.Keys.GetCurve25519(d.cli.DeviceID) != ours.IdentityKey {
		d.wrong("keys", "the homeserver has other keys for this device; run bot matrix login --recover")
		return
	}
	d.good("keys", "the homeserver has this device's keys")
	master, self := r.MasterKeys[d.cli.UserID], r.SelfSigningKeys[d.cli.UserID]
	if d.signed(there, self.FirstKey()) && d.signed(self, master.FirstKey()) {
		d.good("signature", "the device is signed by its account: nobody is warned of it")
	} else {
		d.wrong("signature", "the device is not signed by its account, and people are warned of it; run bot matrix login --recover")
	}
}

// signed tells whether what the account published has the signature of one of its
// keys.
func (d *doctor) signed(what any, by id.Ed25519) bool {
	ok, err := signatures.VerifySignatureJSON(what, d.cli.UserID, by.String(), by)
	return by != "" && err == nil && ok
}

// left looks at the keys by which others write to the device for the first time.
func (d *doctor) left(ctx context.Context) {
	since, err := d.keep.get(tokenKey)
	if err != nil {
		d.wrong("one-time keys", "%v", err)
		return
	}
	r, err := d.cli.FullSyncRequest(ctx, mautrix.ReqSync{Since: string(since), FilterID: `{"room":{"rooms":[]},"presence":{"types":[]},"account_data":{"types":[]}}`})
	if err != nil {
		d.wrong("one-time keys", "%v", explained(err))
		return
	}
	n := r.DeviceOTKCount.SignedCurve25519
	if n == 0 { // or the answer does not say
		if up, err := d.cli.UploadKeys(ctx, &mautrix.ReqUploadKeys{}); err == nil {
			n = up.OneTimeKeyCounts.SignedCurve25519
		}
	}
	if n > 0 {
		d.good("one-time keys", "%d; bot serve leaves new ones", n)
	} else {
		d.wrong("one-time keys", "none are left, so nobody new can send the bot a key; run bot serve, which leaves new ones")
	}
	switch {
	case r.FallbackKeys == nil:
		d.good("fallback key", "this homeserver has none, so somebody could use up the one-time keys; bot serve leaves new ones as they go")
	case slices.Contains(r.FallbackKeys, id.KeyAlgorithmSignedCurve25519):
		d.good("fallback key", "one is there, in case the one-time keys run out")
	default:
		d.good("fallback key", "none, or it was used; bot serve leaves a new one")
	}
}

// recovery looks whether the recovery key opens anything: the account's secrets on
// the homeserver, each locked with it.
func (d *doctor) recovery(ctx context.Context) {
	var main struct {
		Key string `json:"key"`
	}
	err := d.cli.GetAccountData(ctx, "m.secret_storage.default_key", &main)
	missing := []string{}
	for _, t := range []event.Type{event.AccountDataCrossSigningMaster, event.AccountDataCrossSigningSelf, event.AccountDataCrossSigningUser} {
		var secret struct {
			Encrypted map[string]any `json:"encrypted"`
		}
		if e := d.cli.GetAccountData(ctx, t.Type, &secret); e != nil || secret.Encrypted[main.Key] == nil {
			missing = append(missing, t.Type)
		}
	}
	if err == nil && main.Key != "" && len(missing) == 0 {
		d.good("recovery key", "the homeserver keeps what it opens; is it on paper, away from here?")
		return
	}
	d.wrong("recovery key", "the homeserver keeps nothing that it opens (%s), so a lost device could not be replaced quietly; keep the data directory safe, or log out, let somebody sign in as the bot, reset its encryption there, and use the new recovery key with bot matrix login --recover", strings.Join(missing, ", "))
}

// devices looks who else can write as the bot.
func (d *doctor) devices(ctx context.Context) {
	have, err := d.cli.GetDevicesInfo(ctx)
	if err != nil {
		return
	}
	var others []string
	for _, one := range have.Devices {
		if one.DeviceID != d.cli.DeviceID {
			others = append(others, strings.TrimSpace(harmless(one.DisplayName+" "+string(one.DeviceID))))
		}
	}
	if len(others) > 0 {
		d.good("other devices", "%s can read and write as the bot; delete those that you do not know", strings.Join(others, ", "))
	}
}
