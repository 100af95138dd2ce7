package boltstore

import (
	"context"
	"fmt"

	"shimwright/store"
)

// Resolve returns the shop that an address belongs to.
func (s *Store) Resolve(ctx context.Context, address string) (shop string, err error) {
	err = s.view(ctx, func(t *tx) error {
		found := t.addresses.Get([]byte(address))
		if address == "" || found == nil {
			return fmt.Errorf("%w: this address belongs to no shop", store.ErrNotFound)
		}
		shop = string(found)
		return nil
	})
	return shop, err
}

// Point makes an address belong to a shop.
func (s *Store) Point(ctx context.Context, address, from, to string) error {
	if err := store.CheckAddress(address, from, to); err != nil {
		return err
	}
	return s.write(ctx, func(t *tx) error {
		if now := string(t.addresses.Get([]byte(address))); now != from {
			return fmt.Errorf("%w: the address belongs to another shop now", store.ErrStale)
		}
		t.point(address, from, to)
		return nil
	})
}

func (t *tx) point(address, from, to string) {
	if from != "" {
		t.del(t.pointing, key(nil).str(from).str(address))
	}
	if to == "" {
		t.del(t.addresses, []byte(address))
		return
	}
	t.put(t.addresses, []byte(address), []byte(to))
	t.put(t.pointing, key(nil).str(to).str(address), []byte{})
}

// Shops lists the shops in order.
func (s *Store) Shops(ctx context.Context, after string, max int) ([]string, error) {
	var shops []string
	err := s.view(ctx, func(t *tx) error {
		c := t.shops.Cursor()
		k, _ := c.Seek([]byte(after))
		if string(k) == after {
			k, _ = c.Next()
		}
		for ; k != nil && len(shops) < max; k, _ = c.Next() {
			shops = append(shops, string(k))
		}
		return nil
	})
	return shops, err
}
