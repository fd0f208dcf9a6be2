package intake

import (
	"io"
)

// ReadInside opens a name of a folder in the way in which the watch does, after
// it looked at the folder.
func ReadInside(dir, name string) ([]byte, error) {
	r, err := openReach(dir)
	if err != nil {
		return nil, err
	}
	defer r.close()
	f, err := r.open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(f)
}
