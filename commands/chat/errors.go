package chat

import "errors"

// What Send may answer besides success.
var (
	ErrLater = errors.New("chat: the platform cannot take the post now, try again later")
	ErrGone  = errors.New("chat: the place is gone")
	ErrMuted = errors.New("chat: the bot may not speak there")
)
