package discord

import "log/slog"

// Token is the bot's secret. It shows itself to nobody who prints, logs or
// encodes it.
type Token string

const redacted = "[redacted]"

// String hides the token.
func (Token) String() string { return redacted }

// GoString hides the token.
func (Token) GoString() string { return redacted }

// LogValue hides the token.
func (Token) LogValue() slog.Value { return slog.StringValue(redacted) }

// MarshalText hides the token.
func (Token) MarshalText() ([]byte, error) { return []byte(redacted), nil }

// authorization is what a request carries.
func (t Token) authorization() string { return "Bot " + string(t) }
