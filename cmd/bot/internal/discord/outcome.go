package discord

import (
	"context"
	"errors"
	"net/http"

	"drumhead/commands/chat"
)

// outcome is what to do when Discord did not take a call.
type outcome string

// The outcomes. Those that end with a remedy are tried once with it.
const (
	taken        outcome = "taken"         // it is there already
	later        outcome = "later"         // the same again, later
	anew         outcome = "anew"          // a new message in the place of the edit
	byMessage    outcome = "by message"    // an ordinary message in the place of the answer
	onOriginal   outcome = "on original"   // answered already: edit that answer
	placeGone    outcome = "place gone"    // nothing more goes there; the ledger stays
	muted        outcome = "muted"         // the bot may not speak there: told once, tried again when it may
	inPlace      outcome = "in place"      // no direct messages: a button where both are
	reopened     outcome = "reopened"      // open the archived thread, then the same again
	inParent     outcome = "in parent"     // locked thread: told in the channel above
	inChannel    outcome = "in channel"    // too many threads: play on in the channel
	asForumPost  outcome = "as forum post" // a forum takes no messages
	withTag      outcome = "with tag"      // a forum asks for a tag
	smaller      outcome = "smaller"       // without the picture; its words as text
	plainer      outcome = "plainer"       // without quoted words and files
	keepCommands outcome = "keep commands" // the old commands stay; tried tomorrow
	wrongBody    outcome = "wrong body"    // a fault of ours: told with its paths, dropped after three
	stop         outcome = "stop"          // the token is refused: nothing goes on
)

// byCode are the outcomes of Discord's JSON error codes (documentation, "JSON
// Error Codes").
var byCode = map[int]outcome{
	10003: placeGone, 10004: placeGone, // unknown channel, unknown server
	10008: anew,                                          // unknown message
	10015: byMessage, 10062: byMessage, 50027: byMessage, // unknown webhook, unknown interaction, its token is over
	20016: later, 20028: later, // slow mode, the channel's rate of writing
	30034: keepCommands,        // 200 commands made today
	30046: anew,                // too many edits of a message older than an hour
	40005: smaller,             // too large
	40058: asForumPost,         // a forum takes no messages
	40060: onOriginal,          // answered already
	40067: withTag,             // a forum asks for a tag
	50001: muted, 50013: muted, // no access, no permission
	50007:  inPlace,                                   // no direct messages to this person
	50035:  wrongBody,                                 // a body that is wrong
	50083:  reopened,                                  // an archived thread
	160004: taken,                                     // the message has a thread
	160005: inParent,                                  // a locked thread
	160006: inChannel,                                 // too many threads
	200000: plainer, 240000: plainer, 400001: plainer, // automoderation, link filter, uploads are limited
}

// outcomeOf is what to do about an error of a call. With a nonce, a message that
// is unknown was sent and has been deleted since: sent it is.
func outcomeOf(err error, c call) outcome {
	var r *Refusal
	switch {
	case err == nil:
		return taken
	case errors.Is(err, ErrToken):
		return stop
	case errors.Is(err, context.Canceled), !errors.As(err, &r):
		return later // the line, the budget, or our own end
	}
	if known, ok := byCode[r.Code]; ok {
		if r.Code == 10008 && c.method == http.MethodPost && c.safe {
			return taken
		}
		return known
	}
	switch r.Status {
	case http.StatusUnauthorized:
		return stop
	case http.StatusForbidden:
		return muted
	case http.StatusNotFound:
		return placeGone
	case http.StatusRequestEntityTooLarge:
		return smaller
	case http.StatusBadRequest:
		return wrongBody
	}
	return later
}

// fault is the error that Send answers with if no remedy helped, nil if the post
// is there.
func (o outcome) fault() error {
	switch o {
	case taken:
		return nil
	case placeGone:
		return chat.ErrGone
	case muted, inPlace, inParent:
		return chat.ErrMuted
	}
	return chat.ErrLater
}
