package domain

import (
	"encoding/hex"
	"testing"

	"pgregory.net/rapid"
)

// The leaves and roots of the tests of the reference implementation of Certificate
// Transparency (published source).
func TestMerkle(t *testing.T) {
	t.Parallel()
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots := []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	var tree Merkle
	for n, root := range roots {
		if got := tree.Root(); got.String() != root || tree.Leaves() != int64(n) {
			t.Errorf("the root of %d leaves is %s, want %s", n, got, root)
		}
		if n < len(leaves) {
			leaf, err := hex.DecodeString(leaves[n])
			if err != nil {
				t.Fatal(err)
			}
			tree.Add(LeafHash(leaf))
		}
	}
}

// bySplitting is the definition of RFC 6962: the left half is the largest power of two
// that is less than all.
func bySplitting(leaves []Hash) Hash {
	if len(leaves) == 1 {
		return leaves[0]
	}
	k := 1
	for 2*k < len(leaves) {
		k *= 2
	}
	return nodeHash(bySplitting(leaves[:k]), bySplitting(leaves[k:]))
}

func TestMerkleIsThatOfTheDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		leaves := make([]Hash, rapid.IntRange(1, 300).Draw(t, "leaves"))
		var tree Merkle
		for i := range leaves {
			leaves[i] = LeafHash([]byte{byte(i), byte(i >> 8)})
			tree.Add(leaves[i])
		}
		if got, want := tree.Root(), bySplitting(leaves); got != want {
			t.Fatalf("%s, want %s", got, want)
		}
	})
}

func TestHashText(t *testing.T) {
	t.Parallel()
	h := LeafHash([]byte("pond"))
	var read Hash
	if err := read.UnmarshalText([]byte(h.String())); err != nil || read != h {
		t.Errorf("%s is read as %s, %v", h, read, err)
	}
	for _, text := range []string{"", "abc", h.String() + "00", "g" + h.String()[1:]} {
		if err := read.UnmarshalText([]byte(text)); err == nil {
			t.Errorf("%q is taken for a hash", text)
		}
	}
}
