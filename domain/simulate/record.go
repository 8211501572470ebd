package simulate

import (
	"cmp"
	"slices"

	"shoalbook/domain"
)

// message is an entry on its way.
type message struct {
	sent  domain.Date
	entry domain.Entry
}

// record writes an entry of today and sends it today. What others build on
// (stocking, moves, harvests, counts, sales, goods sent) is recorded this way.
func (s *school) record(b domain.Body) *message { return s.write(s.dice, b) }

func (s *school) write(r dice, b domain.Body) *message {
	m := &message{s.day, domain.Entry{ID: newID[domain.Entry](r), Site: s.site.Facts.ID, On: s.day, Body: b}}
	s.messages = append(s.messages, m)
	return m
}

// jot writes an entry of today that waits in the exercise book until there is a
// network.
func (s *school) jot(b domain.Body) *message {
	m := s.record(b)
	m.sent = max(s.day, s.online)
	return m
}

func (m *message) note(text string) *message {
	m.entry.Note = text
	return m
}

// clock gives the entry a time of day between two hours.
func (s *school) clock(m *message, from, to int) *message {
	m.entry.At = new(domain.Minute(5 * s.whole(12*from, 12*to-1)))
	return m
}

// slip makes, now and then, a mistake of what was recorded. When somebody
// notices, the wrong entry is reversed and the right one takes its place.
func (s *school) slip(m *message, wrong domain.Body, reason string) {
	noticed := m.sent + s.days(4, 25)
	if !s.chance(s.slips) || noticed > s.Today {
		return
	}
	right := m.entry
	right.ID = newID[domain.Entry](s.dice)
	m.entry.Body = wrong
	s.messages = append(s.messages, &message{noticed, right})
	s.reverse(m.entry.ID, noticed, reason, &right.ID)
}

// double records the same thing a second time, now and then, as when two people
// keep the sheet, and takes the second back when somebody notices.
func (s *school) double(m *message) {
	noticed := m.sent + s.days(2, 20)
	if !s.chance(s.slips/3) || noticed > s.Today {
		return
	}
	again := m.entry
	again.ID = newID[domain.Entry](s.dice)
	s.messages = append(s.messages, &message{m.sent, again})
	s.reverse(again.ID, noticed, "recorded twice", nil)
}

func (s *school) reverse(id domain.EntryID, on domain.Date, reason string, replacement *domain.EntryID) {
	s.messages = append(s.messages, &message{on, domain.Entry{ID: newID[domain.Entry](s.dice), Site: s.site.Facts.ID, On: on,
		Body: domain.Reversal{Reverses: id, Reason: reason, Replacement: replacement}}})
}

// finish hands over the entries in the order in which they were sent. What
// would be sent later than today is sent today.
func (s *school) finish() {
	for _, m := range s.messages {
		m.sent = min(m.sent, s.Today)
	}
	slices.SortStableFunc(s.messages, func(a, b *message) int { return cmp.Compare(a.sent, b.sent) })
	s.site.Entries = make([]domain.Entry, len(s.messages))
	s.site.Sent = make([]domain.Date, len(s.messages))
	for i, m := range s.messages {
		s.site.Entries[i], s.site.Sent[i] = m.entry, m.sent
	}
	s.coop.Truth.Sites[s.site.Facts.ID] = s.truth
}
