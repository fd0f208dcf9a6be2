package wine_test

import (
	"bytes"
	"debug/pe"
	"testing"

	"thudbook/sync/trial/wine"
)

// The library is one that the standard library reads as a file for Windows, with
// its one section, and names what it passes the call on to.
func TestShimIsAWindowsLibrary(t *testing.T) {
	f, err := pe.NewFile(bytes.NewReader(wine.Shim()))
	if err != nil {
		t.Fatal(err)
	}
	head, ok := f.OptionalHeader.(*pe.OptionalHeader64)
	if !ok || f.Machine != pe.IMAGE_FILE_MACHINE_AMD64 || f.Characteristics&pe.IMAGE_FILE_DLL == 0 || len(f.Sections) != 1 {
		t.Fatalf("not a 64-bit library with one section: %+v", f.FileHeader)
	}
	section, err := f.Sections[0].Data()
	if err != nil {
		t.Fatal(err)
	}
	table := head.DataDirectory[pe.IMAGE_DIRECTORY_ENTRY_EXPORT]
	if table.VirtualAddress != f.Sections[0].VirtualAddress || int(table.Size) > len(section) {
		t.Errorf("the table of exports lies at %#x with %d bytes, the section at %#x with %d", table.VirtualAddress, table.Size, f.Sections[0].VirtualAddress, len(section))
	}
	for _, want := range []string{"ProcessPrng\x00", "advapi32.SystemFunction036\x00"} {
		if !bytes.Contains(section[:table.Size], []byte(want)) {
			t.Errorf("%q is not in it", want)
		}
	}
}

// A test that fails for another reason than Wine's removal of folders is named.
func TestVerdictHidesNothing(t *testing.T) {
	out := "--- PASS: TestA (0.1s)\n    testing.go:1: TempDir RemoveAll cleanup: unlinkat x: Invalid function.\n--- FAIL: TestB (0.1s)\n" +
		"    b_test.go:2: lost a record\n    testing.go:1: TempDir RemoveAll cleanup: unlinkat x: Invalid function.\n--- FAIL: TestC (0.1s)\n"
	passed, failed := verdict([]byte(out))
	if passed != 2 || len(failed) != 1 || failed[0] != "TestC: b_test.go:2: lost a record" {
		t.Errorf("%d pass, failed: %q", passed, failed)
	}
}
