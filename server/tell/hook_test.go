package tell

import (
	"net/netip"
	"testing"
)

// The ranges are those of the RFCs named in public.
func TestPublicAddresses(t *testing.T) {
	for text, want := range map[string]bool{
		"9.9.9.9": true, "2606:4700::1": true,
		"127.0.0.1": false, "::1": false, "10.1.2.3": false, "172.16.0.1": false, "192.168.1.1": false, "169.254.169.254": false, "fe80::1": false, "fd00::1": false,
		"0.0.0.0": false, "0.1.2.3": false, "100.64.0.1": false, "192.0.0.8": false, "198.18.0.1": false, "198.19.255.255": false, "224.0.0.1": false, "255.255.255.255": false, "240.0.0.1": false,
		"64:ff9b::a00:1": false, "2002:a00:1::1": false, "2001:0:1::1": false, "::ffff:10.0.0.1": false,
	} {
		if got := public(netip.MustParseAddr(text).Unmap()); got != want {
			t.Errorf("%s: %t, want %t", text, got, want)
		}
	}
}
