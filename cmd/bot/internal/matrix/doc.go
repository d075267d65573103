// Package matrix connects Matrix, encrypted rooms included: events in, messages
// out. It stands on mautrix for the protocol and for the ratchets of Olm and
// Megolm; the sync loop, the store of keys and the order in which things reach
// the disk are our own, because a message may neither be lost nor be said twice
// and no key may leave the process before it is kept.
//
// It translates, and decides nothing. What must not be believed is not even
// translated: a clear message in an encrypted room, words of another bot, what
// was said before the bot came, a device whose keys are not its own.
//
// Encryption is pure Go only with the build tag goolm; without it the package
// says so instead (absent.go).
package matrix
