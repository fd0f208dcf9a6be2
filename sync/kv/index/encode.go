package index

import (
	"errors"
	"fmt"

	"thudbook/sync/record"
)

// version is the first byte of every value; it also keeps values from being empty.
const version = 1

func encode(v any) ([]byte, error) {
	b, err := record.EncodeBody(v)
	if err != nil {
		return nil, err
	}
	return append([]byte{version}, b...), nil
}

func (t *Table[T]) decode(key, b []byte) (*T, error) {
	v := new(T)
	err := errors.New("another version wrote it")
	if len(b) > 0 && b[0] == version {
		err = record.DecodeBody(b[1:], v)
	}
	if err != nil {
		return nil, fmt.Errorf("table %s, key %x: the value is damaged: %w", t.Name, key, err)
	}
	return v, nil
}
