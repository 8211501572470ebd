package domain

import (
	"errors"
	"testing"
)

func TestParseThousandths(t *testing.T) {
	t.Parallel()
	for literal, want := range map[string]string{
		"0": "0", "-0": "0", "12": "12", "12.5": "12.5", "12.500": "12.5", "0.001": "0.001", "-500.125": "-500.125",
		"1.5000000": "1.5", "1e3": "1000", "1E+2": "100",
		"1.25e1": "12.5", "-1.25e-1": "-0.125", "12500e-3": "12.5", "1e-3": "0.001", "0.0005e3": "0.5", "100e-5": "0.001", "0e9": "0", "9007199254740.993": "9007199254740.993", "999999999999999.999": "999999999999999.999",
	} {
		v, err := ParseThousandths(literal)
		if got := v.Format(); err != nil || got != want {
			t.Errorf("%s is read as %s, %v; want %s", literal, got, err, want)
		}
	}
	for literal, precise := range map[string]bool{
		"12.0005": true, "0.0001": true, "-1.2345": true, "": false, "abc": false, "1.": false, ".5": false, "1e": false, "e3": false,
		"1e-4": true, "1.00000000000000000001e0": true, "1e20": false, "1e99": false, "1e999999999": false, "1000000000000000": false, "0x10": false, "1 000": false, `"12"`: false, "null": false,
	} {
		v, err := ParseThousandths(literal)
		if _, got := errors.AsType[TooPrecise](err); err == nil || got != precise {
			t.Errorf("%q is read as %d, %v", literal, v, err)
		}
	}
	if _, err := Currency("KES").Parse("10.005"); err != TooPrecise(2) || err.Error() != "at most 2 decimals" {
		t.Errorf("an amount with half a cent gives %v", err)
	}
}
