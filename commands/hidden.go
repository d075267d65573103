package commands

import (
	"context"
	"errors"

	"drumhead/storage"
)

// spoken is the words beside an entry, for showing; none of what was hidden.
func (d *Desk) spoken(ctx context.Context, v *view, seq uint64) ([]storage.Word, error) {
	list, err := d.store.Words(ctx, v.ledger, seq)
	if errors.Is(err, storage.ErrNone) {
		return nil, nil
	}
	return list, err
}
