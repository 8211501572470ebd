// Package domain is the trade, pure: what a co-operative of small fish farms
// records, and the figures that follow from it.
//
// Everything that happens at a site is a dated [Entry] in an append-only
// journal. A [Site] is the running state that results from folding the entries
// in order; every figure anybody sees is computed from that state and from the
// dated facts of the registry. Nothing here reads a clock, a file, a database
// or a source of randomness: what is needed is an argument.
//
// Words: a co-operative has sites (schools, farms); a site has units (tanks,
// ponds, cages, grow beds); a batch is fish stocked together; a store is what a
// site holds of a product; a party is a hatchery, seller, buyer or funder.
package domain
