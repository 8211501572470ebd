package stats

import "math"

// Z80 is the 90 % point of the standard normal distribution: 80 % of it lie between
// −Z80 and Z80.
const Z80 = 1.281551565544600

// Normal returns the share of the standard normal distribution below z.
func Normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
