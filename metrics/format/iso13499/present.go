package iso13499

import (
	"io/fs"
	"path"
	"slices"
	"strings"
)

// IsTest tells whether a folder is a test after ISO/TS 13499: it has a header
// NAME.mme at its top.
func IsTest(fsys fs.FS) (bool, error) {
	top, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return false, unlisted(".", err)
	}
	return slices.ContainsFunc(top, isHeader), nil
}

func isHeader(e fs.DirEntry) bool { return strings.EqualFold(path.Ext(e.Name()), ".mme") }
