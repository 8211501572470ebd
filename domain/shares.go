package domain

import "shoalbook/domain/buying"

// Shares splits a total by weights as [buying.Shares] does.
func Shares(total int64, weights []int64) []int64 { return buying.Shares(total, weights) }
