//go:build !goolm

package matrix

import (
	"context"

	"drumhead/commands/chat"
)

// Adapter stands for the one that was not built.
type Adapter struct{}

// New answers ErrAbsent.
func New(Settings, Parts) (*Adapter, error) { return nil, ErrAbsent }

// Run answers ErrAbsent.
func (*Adapter) Run(context.Context, chat.Desk) error { return ErrAbsent }

// Send answers ErrAbsent.
func (*Adapter) Send(context.Context, chat.Post) (chat.Receipt, error) {
	return chat.Receipt{}, ErrAbsent
}

// Limits are none.
func (*Adapter) Limits() chat.Limits { return chat.Limits{} }

// Reach answers ErrAbsent.
func Reach(context.Context, Settings, Parts) error { return ErrAbsent }

// Login answers ErrAbsent.
func Login(context.Context, Settings, Parts, string) (string, error) { return "", ErrAbsent }

// Recover answers ErrAbsent.
func Recover(context.Context, Settings, Parts, string, string) error { return ErrAbsent }

// Verify answers ErrAbsent.
func Verify(context.Context, Settings, Parts, string, func([]string) bool) error { return ErrAbsent }

// Logout answers ErrAbsent.
func Logout(context.Context, Settings, Parts) error { return ErrAbsent }

// Doctor answers ErrAbsent as its only finding.
func Doctor(context.Context, Settings, Parts) []Finding {
	return []Finding{{What: "matrix", Says: ErrAbsent.Error()}}
}
