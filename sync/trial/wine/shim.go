package wine

import (
	"bytes"
	"encoding/binary"
)

// Shim gives a library for 64-bit Windows that only passes a call on: programs
// built by Go ask bcryptprimitives.dll for ProcessPrng, which older Wine does not
// have. Its place is taken by SystemFunction036 of advapi32.dll, which fills a
// buffer with random bytes and takes the same arguments. There is no code in the
// file: an export may name another library's function.
// (Layout: the PE format specification, sections "Optional Header" and "Export Directory Table".)
func Shim() []byte {
	const (
		rva      = 0x1000 // where the one section is mapped
		inFile   = 0x200  // where it stands in the file
		tables   = 40     // bytes of the export directory, before its tables
		nameAt   = rva + tables + 4 + 4 + 2
		name     = "bcryptprimitives.dll\x00"
		functAt  = nameAt + len(name)
		function = "ProcessPrng\x00"
		aimAt    = functAt + len(function)
		aim      = "advapi32.SystemFunction036\x00"
	)
	le := binary.LittleEndian
	var section bytes.Buffer
	put := func(values ...any) {
		for _, v := range values {
			_ = binary.Write(&section, le, v) // a buffer takes everything
		}
	}
	put([]uint32{0, 0, 0, uint32(nameAt), 1, 1, 1, rva + tables, rva + tables + 4, rva + tables + 8})
	put(uint32(aimAt))   // addresses: one inside the directory's section names another library's function
	put(uint32(functAt)) // names
	put(uint16(0))       // ordinals
	section.WriteString(name + function + aim)
	size := uint32(section.Len())

	var file bytes.Buffer
	head := func(values ...any) {
		for _, v := range values {
			_ = binary.Write(&file, le, v)
		}
	}
	dos := make([]byte, 64)
	copy(dos, "MZ")
	le.PutUint32(dos[60:], 64)
	head(dos, []byte("PE\x00\x00"))
	head(uint16(0x8664), uint16(1), [3]uint32{}, uint16(240), uint16(0x2022)) // x86-64, one section, a library that may lie anywhere
	head(uint16(0x20b), uint16(0), uint32(0), uint32(inFile), uint32(0), uint32(0), uint32(0),
		uint64(0x1_9000_0000), uint32(0x1000), uint32(0x200), // base, alignment in memory and in the file
		[6]uint16{6, 0, 0, 0, 6, 0}, uint32(0), uint32(2*rva), uint32(inFile), uint32(0), uint16(3), uint16(0),
		[4]uint64{1 << 20, 4096, 1 << 20, 4096}, uint32(0), uint32(16))
	head([2]uint32{rva, size}, [15][2]uint32{}) // of the 16 tables only the exports
	head([]byte(".edata\x00\x00"), size, uint32(rva), uint32(inFile), uint32(inFile), [3]uint32{}, uint32(0x4000_0040))
	file.Write(make([]byte, inFile-file.Len()))
	file.Write(section.Bytes())
	file.Write(make([]byte, 2*inFile-file.Len()))
	return file.Bytes()
}
