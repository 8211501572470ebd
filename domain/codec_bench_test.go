package domain_test

import (
	"testing"

	"shoalbook/domain"
)

// benchEntry is a feeding as a client sends it: the most frequent kind.
const benchEntry = `{"id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d","kind":"feeding","site_id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c01","occurred_on":"2026-05-31","occurred_at":"06:30","batch_id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c02","product_id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c03","weight_kg":24.5,"response":"good"}`

func BenchmarkDecodeEntry(b *testing.B) {
	b.ReportAllocs()
	raw := []byte(benchEntry)
	for b.Loop() {
		if _, err := domain.DecodeEntry(raw, "KES"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecodeBody(b *testing.B) {
	b.ReportAllocs()
	e, err := domain.DecodeEntry([]byte(benchEntry), "KES")
	if err != nil {
		b.Fatal(err)
	}
	raw := domain.EncodeBody(e.Body, "KES")
	for b.Loop() {
		if _, err := domain.DecodeBody("feeding", raw, "KES"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEncodeBody(b *testing.B) {
	b.ReportAllocs()
	e, err := domain.DecodeEntry([]byte(benchEntry), "KES")
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		domain.EncodeBody(e.Body, "KES")
	}
}
