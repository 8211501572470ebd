package buying

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// finish lists the plans of a node that lose no more than a part of the room to the best
// plan known, then twice as much, and so on: the best of the first it finds is the best
// of the node. It gives up where there are too many of them, having raised the floor of
// the node, and reports whether no better plan is left in it.
func (s *search) finish(n *node, width int) bool {
	for part := int64(0); ; {
		whole, from, known := s.most()-n.bound, n.floor-n.bound, s.best.Cost
		if from >= whole {
			return true
		}
		part = min(max(2*part, whole/64, from+s.scale), whole)
		f := s.list(n, part, width, false)
		if f.missed <= part && f.dropped > part {
			f = s.list(n, part, width, true)
		}
		if none := min(f.dropped, f.missed, part); none < part {
			n.floor = max(n.floor, n.bound+none)
			if s.best.Cost == known {
				return false
			}
			part = 0 // there is less room now
			continue
		}
		if f.found || part == whole {
			return true
		}
		n.floor = n.bound + part
	}
}

// finisher lists the plans of a node that lose no more than the room: buyer by buyer, all
// ways to settle the first of them. Of two ways that come to the same for all that is
// still to be settled only the one that loses less is kept, and none that would lose more than
// the room by the rest.
type finisher struct {
	*search
	*node
	room    int64
	width   int      // beyond so many ways it goes on with the best ones only
	dropped int64    // the least loss of those it did not go on with
	found   bool     // a plan within the room
	exact   bool     // no way is taken for another that sends something else
	missed  int64    // the least loss of those that were, and may not come to the same
	may     []uint64 // by buyer: the sellers who may serve it within the room
	buyers  []int    // not settled
	by      []int    // the seller of each buyer
	sellers []int    // who may serve somebody, or must have an order
	place   []int    // of each seller among them
	groups  []places
	group   []int   // by place of the seller: that of its group
	earned  int64   // by those who serve nobody, in the bound
	more    []int64 // by place: pieces that may still come to be sent
	level   []level // by place
	routes  bool    // whether it matters how far a route reaches
	size    int     // of a row
	row     []int64 // one that is being made
	seen    []int32 // the ways of the list that is being made, by hash; -1: none
	tables  []table // by place
	rests   []rest
}

// places are the sellers of a group, and what they make the bound.
type places struct {
	of   []int
	base int64
}

// list lists the plans of a node that lose no more than part of the room, and tries the
// best of them.
func (s *search) list(n *node, part int64, width int, exact bool) *finisher {
	f := &finisher{search: s, node: n, room: part, width: width, dropped: math.MaxInt64, exact: exact, missed: math.MaxInt64}
	now, spare := f.start(), list{}
	if len(now.total) == 0 {
		return f
	}
	f.foresee(now.rows)
	trail := make([][]step, 0, len(f.buyers))
	for k, i := range f.buyers {
		next := f.next(&now, i, k+1, spare)
		if len(next.steps) > f.width {
			spare, next = next, f.cut(next)
			f.room = s.most() - f.bound // not all are listed any more, so that any that is better will do
		} else {
			spare = now
		}
		now, trail = next, append(trail, slices.Clone(next.steps))
		if len(now.total) == 0 {
			return f
		}
		if s.work > s.Work {
			f.dropped = 0
			return f
		}
	}
	f.found = true
	w := slices.Index(now.total, slices.Min(now.total))
	for k := len(trail) - 1; k >= 0; k-- {
		st := trail[k][w]
		f.by[f.buyers[k]] = int(st.seller)
		w = int(st.from)
	}
	f.try(f.node, f.by, much)
	return f
}

// loss returns what the bound loses if a seller serves a buyer, without what it loses
// by the seller it would choose.
func (f *finisher) loss(i, j int) int64 {
	return f.Lots[i][j].Cost*f.scale + f.values[j]*f.Lots[i][j].Pieces
}

// start settles the buyers with one seller, and sorts the others: first those who may be
// served by a seller who serves few, so that it is known soon what that one sends, then
// those who lose much by their second choice, then those who need most, so that what
// remains can make up for less and less.
func (f *finisher) start() list {
	f.may, f.by = slices.Clone(f.node.may), make([]int, len(f.Lots))
	second, most := make([]int64, len(f.Lots)), make([]int64, len(f.Lots))
	var open uint64
	for i, lots := range f.Lots {
		least := int64(math.MaxInt64)
		for rest := f.may[i]; rest != 0; rest &= rest - 1 {
			if c := f.loss(i, bits.TrailingZeros64(rest)); c < least {
				least, f.by[i] = c, bits.TrailingZeros64(rest)
			}
		}
		second[i] = math.MaxInt64
		for rest := f.may[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros64(rest)
			most[i] = max(most[i], lots[j].Pieces)
			if lost := f.loss(i, j) - least; lost > f.room {
				f.may[i] &^= 1 << j
			} else if j != f.by[i] {
				second[i] = min(second[i], lost)
			}
		}
		open |= f.may[i]
		if f.may[i]&(f.may[i]-1) != 0 {
			f.buyers = append(f.buyers, i)
		}
	}
	rare := f.rarest()
	slices.SortStableFunc(f.buyers, func(a, b int) int {
		if rare[a] != rare[b] {
			return cmp.Compare(rare[a], rare[b])
		}
		if few := f.room / 8; second[a] <= few && second[b] <= few {
			return cmp.Compare(most[b], most[a])
		}
		return cmp.Compare(second[b], second[a])
	})
	f.place = make([]int, len(f.Sellers))
	for j := range f.Sellers {
		if open&(1<<j) != 0 || !f.orders[j].none {
			f.place[j] = len(f.sellers)
			f.sellers = append(f.sellers, j)
			for i := range f.Lots {
				f.routes = f.routes || f.may[i]&(1<<j) != 0 && f.Lots[i][j].Reach > f.orders[j].far
			}
		}
	}
	earned := f.enter(open)
	f.size = len(f.sellers)
	if f.routes {
		f.size *= 2
	}
	f.row, f.tables = make([]int64, f.size), make([]table, len(f.sellers))
	row := make([]int64, f.size)
	for i, lots := range f.Lots {
		for rest := f.may[i]; rest != 0; rest &= rest - 1 {
			p := f.place[bits.TrailingZeros64(rest)]
			lot := lots[f.sellers[p]]
			if f.may[i]&(f.may[i]-1) != 0 {
				f.more[p] += lot.Pieces
				continue
			}
			f.send(row, p, lot)
		}
	}
	lost, _, _ := f.lose(row)
	if lost = plus(lost, -earned); lost > f.room {
		return list{}
	}
	f.earned = earned
	return list{row, []int64{0}, []int64{lost}, []step{{}}}
}

// send adds a lot to what is sent in a row.
func (f *finisher) send(row []int64, p int, lot Lot) {
	row[p] += lot.Pieces
	if f.routes {
		row[len(f.sellers)+p] = max(row[len(f.sellers)+p], lot.Reach)
	}
}

// rarest returns for each buyer how many may be served by the rarest of its sellers; all,
// where none of them is rare.
func (f *finisher) rarest() []int {
	serve := make([]int, len(f.Sellers))
	for _, i := range f.buyers {
		for rest := f.may[i]; rest != 0; rest &= rest - 1 {
			serve[bits.TrailingZeros64(rest)]++
		}
	}
	rare := make([]int, len(f.Lots))
	for _, i := range f.buyers {
		rare[i] = len(f.buyers)
		for rest := f.may[i]; rest != 0; rest &= rest - 1 {
			if n := serve[bits.TrailingZeros64(rest)]; n <= len(f.buyers)/3 {
				rare[i] = min(rare[i], n)
			}
		}
	}
	return rare
}

// enter puts down the groups of those who may serve somebody. It returns what the others
// make the bound, who may have earned something in it.
func (f *finisher) enter(open uint64) (earned int64) {
	f.more, f.group, f.level = make([]int64, len(f.sellers)), make([]int, len(f.sellers)), make([]level, len(f.sellers))
	for _, group := range f.search.groups {
		in := places{base: f.earn(f.node, group).least}
		for _, j := range group {
			if open&(1<<j) != 0 || !f.orders[j].none {
				in.of = append(in.of, f.place[j])
				f.group[f.place[j]] = len(f.groups)
			}
		}
		switch len(in.of) {
		case 0:
			earned += in.base
			continue
		case 1:
			f.level[in.of[0]] = f.levelOf(f.sellers[in.of[0]], in.base)
		}
		f.groups = append(f.groups, in)
	}
	return earned
}

// next makes the list with one more buyer settled, in the room of a spare one.
func (f *finisher) next(l *list, i, settled int, to list) list {
	to = list{to.rows[:0], to.choice[:0], to.total[:0], to.steps[:0]}
	least := int64(math.MaxInt64)
	for rest := f.may[i]; rest != 0; rest &= rest - 1 {
		j := bits.TrailingZeros64(rest)
		f.more[f.place[j]] -= f.Lots[i][j].Pieces
		least = min(least, f.loss(i, j))
	}
	f.clear(len(l.steps) * bits.OnesCount64(f.may[i]))
	for w := range l.total {
		for rest := f.may[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros64(rest)
			choice := l.choice[w] + f.loss(i, j) - least
			if choice > f.room {
				continue
			}
			f.work += 40
			copy(f.row, l.rows[w*f.size:(w+1)*f.size])
			f.send(f.row, f.place[j], f.Lots[i][j])
			lost, onLevel, off := f.lose(f.row)
			if off { // others that were taken for the same may not be off their level
				f.missed = min(f.missed, plus(choice-f.earned, onLevel))
			}
			if total := plus(choice-f.earned, lost); total <= f.room && !f.beyond(settled, total) {
				f.put(&to, f.row, choice, total, step{int32(w), int8(j)})
			}
		}
	}
	return to
}
