package domain

import "strings"

// Money is an amount in the minor unit of the co-operative's currency.
type Money int64

// UnitPrice is a price for one fish, one kilogram or one unit of a product, in
// ten-thousandths of the minor unit.
type UnitPrice int64

// Currency is an ISO 4217 alphabetic code.
type Currency string

// oddDigits lists the currencies whose minor unit is not a hundredth
// (ISO 4217 table A.1, from memory of the standard).
var oddDigits = map[Currency]int{
	"BIF": 0, "CLP": 0, "DJF": 0, "GNF": 0, "ISK": 0, "JPY": 0, "KMF": 0, "KRW": 0, "PYG": 0,
	"RWF": 0, "UGX": 0, "UYI": 0, "VND": 0, "VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0,
	"BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3,
}

// hundredths lists the active currencies with two decimals (ISO 4217 table A.1,
// from memory of the standard; funds and metals are left out).
const hundredths = " AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VES WST XCD YER ZAR ZMW ZWG "

// Known reports whether the currency is in the table of ISO 4217.
func (c Currency) Known() bool {
	_, odd := oddDigits[c]
	return odd || len(c) == 3 && strings.Contains(hundredths, " "+string(c)+" ")
}

// Digits returns the number of decimals of the currency.
func (c Currency) Digits() int {
	if n, ok := oddDigits[c]; ok {
		return n
	}
	return 2
}

// Format prints an amount with the currency's decimals, without its code.
func (c Currency) Format(m Money) string { return formatDecimal(int64(m), c.Digits(), c.Digits()) }

// Parse reads an amount of at most the currency's decimals.
func (c Currency) Parse(s string) (Money, error) {
	v, err := parseDecimal(s, c.Digits())
	return Money(v), err
}

// FormatPrice prints a unit price with the currency's decimals and up to four more.
func (c Currency) FormatPrice(p UnitPrice) string {
	return formatDecimal(int64(p), c.Digits()+4, c.Digits())
}

// ParsePrice reads a unit price of at most the currency's decimals and four more.
func (c Currency) ParsePrice(s string) (UnitPrice, error) {
	v, err := parseDecimal(s, c.Digits()+4)
	return UnitPrice(v), err
}

// FormatPerKg prints minor units per kilogram, given in hundredths of the minor
// unit, with two decimals more than the currency has.
func (c Currency) FormatPerKg(hundredthsOfMinor int64) string {
	return formatDecimal(hundredthsOfMinor, c.Digits()+2, c.Digits()+2)
}

// times returns the price of n thousandths of a unit, half to even.
func (p UnitPrice) times(thousandths int64) Money {
	return Money(mulDiv(int64(p), thousandths, 1000*10_000))
}

// Part returns a part of an amount, half to even; of nothing it is nothing.
func (m Money) Part(part, whole int64) Money {
	if whole == 0 {
		return 0
	}
	return Money(mulDiv(int64(m), part, whole))
}
