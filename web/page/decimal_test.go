package page_test

import (
	"strings"
	"testing"

	"thudbook/web/page"
)

func TestParseDecimal(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]float64{
		"5.5": 5.5, "5,5": 5.5, " 5,25 ": 5.25, "1500": 1500, "1.500": 1.5, "-3": -3, "\u22123,5": -3.5, "1e3": 1000,
		"0,125": 0.125, "-0,125": -0.125, ",125": 0.125, "1,5000": 1.5, "+7": 7, "5.": 5,
	} {
		if got, err := page.ParseDecimal(text); err != nil || got != want {
			t.Errorf("%q = %v, %v; want %v", text, got, err, want)
		}
	}
	for text, says := range map[string]string{
		"1,500": "write 1500 or 1.5", "12,345": "write 12345 or 12.345", "-1,500": "write -1500 or -1.5", "2,000": "write 2000 or 2.0",
		"": "not a number", "fast": "not a number", "1,500.5": "not a number", "1.500,5": "not a number", "1,2,3": "not a number",
		"NaN": "not a number", "Inf": "not a number", "0x10": "not a number", "1e999": "not a number", "5 5": "not a number", "1,e3": "not a number", "--5": "not a number",
	} {
		if got, err := page.ParseDecimal(text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q = %v, %v; want an error with %q", text, got, err, says)
		}
	}
}
