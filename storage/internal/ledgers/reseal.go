package ledgers

import (
	"drumhead/storage/internal/layout"
)

// Reseal seals every secret with the newest key. A secret that none of the
// keys opens stays as it is; Secret says so when it is asked for.
func (k *Keeper) Reseal(tx Tx) error {
	var from []byte
	for more := true; more; {
		heads, next, err := headsFrom(tx, from)
		if err != nil {
			return err
		}
		for _, h := range heads {
			key := layout.SecretKey(h.Ledger)
			rec := tx.Get(layout.Ledgers, key)
			if rec == nil {
				continue
			}
			secret, err := k.vault.Open(key, rec)
			if err != nil {
				continue
			}
			sealed, err := k.vault.Seal(key, secret)
			if err != nil {
				return err
			}
			tx.Put(layout.Ledgers, key, sealed)
		}
		from, more = next, next != nil
	}
	return nil
}
