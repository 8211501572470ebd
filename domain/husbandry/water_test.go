package husbandry

import (
	"math"
	"testing"
)

// emerson is the table of Emerson et al. 1975 as reprinted by the University of
// Florida (FA16): un-ionised shares by pH (rows) and °C (columns). The cells of
// pH 7.0, 7.6, 8.0, 8.2 and 8.4 at 20, 24, 26, 28 and 30 °C are from the
// published source, read and recomputed; the others are from memory of it.
var emerson = struct {
	celsius []float64
	rows    []emersonRow
}{
	celsius: []float64{6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 30, 32},
	rows: []emersonRow{
		{7.0, []float64{.0013, .0016, .0018, .0022, .0025, .0029, .0034, .0039, .0046, .0052, .0060, .0069, .0080, .0095}},
		{7.2, []float64{.0021, .0025, .0029, .0034, .0040, .0046, .0054, .0062, .0072, .0083, .0096, .0110, .0126, .0150}},
		{7.4, []float64{.0034, .0040, .0046, .0054, .0063, .0073, .0085, .0096, .0114, .0131, .0150, .0173, .0198, .0236}},
		{7.6, []float64{.0053, .0063, .0073, .0086, .0100, .0116, .0134, .0155, .0179, .0206, .0236, .0271, .0310, .0370}},
		{7.8, []float64{.0084, .0099, .0116, .0135, .0157, .0182, .0211, .0244, .0281, .0322, .0370, .0423, .0482, .0574}},
		{8.0, []float64{.0133, .0156, .0182, .0212, .0247, .0286, .0330, .0381, .0438, .0502, .0574, .0654, .0743, .0880}},
		{8.2, []float64{.0210, .0245, .0286, .0332, .0385, .0445, .0514, .0590, .0676, .0772, .0880, .0998, .1129, .1326}},
		{8.4, []float64{.0328, .0383, .0445, .0517, .0597, .0688, .0790, .0904, .1031, .1171, .1326, .1495, .1678, .1950}},
		{8.6, []float64{.0510, .0593, .0688, .0795, .0914, .1048, .1197, .1361, .1541, .1737, .1950, .2178, .2422, .2774}},
		{8.8, []float64{.0785, .0909, .1048, .1204, .1376, .1566, .1773, .1998, .2241, .2500, .2774, .3062, .3362, .3783}},
		{9.0, []float64{.1190, .1368, .1565, .1782, .2018, .2273, .2546, .2836, .3140, .3456, .3783, .4116, .4453, .4909}},
		{9.2, []float64{.1763, .2008, .2273, .2558, .2861, .3180, .3512, .3855, .4204, .4557, .4909, .5258, .5599, .6045}},
		{9.4, []float64{.2533, .2847, .3180, .3526, .3884, .4249, .4618, .4985, .5348, .5702, .6045, .6373, .6685, .7078}},
		{9.6, []float64{.3496, .3868, .4249, .4633, .5016, .5394, .5762, .6117, .6456, .6777, .7078, .7358, .7617, .7933}},
		{9.8, []float64{.4600, .5000, .5394, .5778, .6147, .6499, .6831, .7140, .7428, .7692, .7933, .8153, .8351, .8588}},
		{10.0, []float64{.5745, .6131, .6498, .6844, .7166, .7463, .7735, .7983, .8207, .8408, .8588, .8749, .8892, .9060}},
		{10.2, []float64{.6815, .7152, .7463, .7746, .8003, .8234, .8441, .8625, .8788, .8933, .9060, .9173, .9271, .9389}},
	},
}

type emersonRow struct {
	pH     float64
	shares []float64
}

// The table cell by cell. Its 32 °C column is a misprint: it has what the formula
// gives at about 32.7 °C; and so is its 20 °C, pH 7.4 cell, 0.0096 for 0.0098. Everything
// else agrees within the rounding of the print.
func TestUnionisedFractionAgainstEmerson(t *testing.T) {
	t.Parallel()
	const rounding = 1e-4
	misprints := 0
	for _, row := range emerson.rows {
		for i, printed := range row.shares {
			celsius := emerson.celsius[i]
			got, ok := UnionisedFraction(celsius, row.pH, 0)
			switch {
			case celsius == 32:
				misprints++
				if !ok || got > printed-3*rounding {
					t.Errorf("pH %v, 32 °C: %v (%v) is not below the misprint %v", row.pH, got, ok, printed)
				}
				warmer, ok := UnionisedFraction(32.7, row.pH, 0)
				check(t, "the misprint at 32.7 °C", warmer, ok, printed, 4*rounding)
			case celsius == 20 && row.pH == 7.4:
				misprints++
				check(t, "pH 7.4, 20 °C", got, ok, 0.0098, rounding)
				if math.Abs(got-printed) <= rounding {
					t.Errorf("pH 7.4, 20 °C: %v is the misprint %v", got, printed)
				}
			default:
				check(t, "a cell of the table", got, ok, printed, rounding)
			}
		}
	}
	if want := len(emerson.rows) + 1; misprints != want {
		t.Errorf("%d misprinted cells, want %d", misprints, want)
	}
}

// Some manuals print 2727.92 for 2729.92: that misses cells of the table.
func TestUnionisedFractionHasNotTheMisprintedConstant(t *testing.T) {
	t.Parallel()
	got, ok := UnionisedFraction(28, 8.4, 0)
	check(t, "pH 8.4, 28 °C", got, ok, 0.1495, 1e-4)
	wrong := 1 / (1 + math.Pow(10, 0.09018+2727.92/(28+273.15)-8.4))
	if math.Abs(wrong-0.1495) <= 1e-4 {
		t.Errorf("with the misprinted constant %v: the table cannot tell them apart", wrong)
	}
}

func TestTotalAmmoniaFor(t *testing.T) {
	t.Parallel()
	// K-29, computed: TAN that gives 0.05 mg/L NH3-N at 28 °C.
	for _, c := range []struct{ pH, want float64 }{{7.0, 7.20}, {7.5, 2.31}, {8.0, 0.76}, {8.5, 0.28}} {
		got, ok := TotalAmmoniaFor(0.05, 28, c.pH, 0)
		check(t, "K-29", got, ok, c.want, 0.005)
	}
	got, ok := TotalAmmoniaFor(-0.05, 28, 7, 0)
	none(t, "a negative amount", got, ok)
}

func TestUnionisedFractionIsRefusedOutsideItsWater(t *testing.T) {
	t.Parallel()
	for name, c := range map[string][3]float64{
		"salty":      {28, 8, 10.001},
		"frozen":     {-0.1, 8, 0},
		"hot":        {50.1, 8, 0},
		"pH 74":      {28, 74, 0},
		"below pH":   {28, -1, 0},
		"salt below": {28, 8, -1},
		"no number":  {math.NaN(), 8, 0},
	} {
		got, ok := UnionisedFraction(c[0], c[1], c[2])
		none(t, name, got, ok)
	}
	if _, ok := UnionisedFraction(28, 8, MostAmmoniaSalinity); !ok {
		t.Error("refused at the highest salinity it is for")
	}
}

// The shares of nitrogen by mass: 14.007/17.031 of ammonia, computed, and 0.7765
// of ammonium, computed.
func TestTotalAmmoniaN(t *testing.T) {
	t.Parallel()
	for basis, want := range map[string]float64{"n": 2, "nh3": 1.64488, "nh4": 1.553} {
		got, ok := TotalAmmoniaN(2, basis)
		check(t, basis, got, ok, want, 1e-5)
	}
	got, ok := TotalAmmoniaN(2, "NO3")
	none(t, "another basis", got, ok)
	got, ok = TotalAmmoniaN(-1, "n")
	none(t, "a negative reading", got, ok)
}

// From memory of Timmons & Ebeling: 1 kg of feed at 32 % gives 29.44 g (computed).
func TestAmmoniaFrom(t *testing.T) {
	t.Parallel()
	got, ok := AmmoniaFrom(1000, 0.32)
	check(t, "1 kg at 32 %", got, ok, 29.44, 1e-9)
	got, ok = AmmoniaFrom(1000, 32)
	none(t, "percent for a fraction", got, ok)
}
