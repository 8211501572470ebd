package buying

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// lp writes the problem in the CPLEX LP format, in the straightforward way: who serves
// whom, one stretch of orders of each seller between two steps, so many packs.
func lp(p Problem) string {
	var cost, rows, bounds, binaries, integers strings.Builder
	var groups = map[int][]string{}
	for j := range p.Sellers {
		s := &p.Sellers[j]
		var stretches []string
		pieces := ""
		for k, step := range s.Steps {
			end := s.Most
			if k+1 < len(s.Steps) {
				end = min(end, s.Steps[k+1].From-1)
			}
			lo, hi := s.packed(max(step.From, s.Least)), end/s.Pack*s.Pack
			if lo > hi {
				continue
			}
			y, q := fmt.Sprintf("y%d_%d", j, k), fmt.Sprintf("q%d_%d", j, k)
			fixed := s.Price(lo) - step.Price*lo + s.Fee
			fmt.Fprintf(&cost, " + %d %s + %d %s\n", fixed, y, step.Price*s.Pack, q)
			fmt.Fprintf(&rows, " %s - %d %s >= 0\n %s - %d %s <= 0\n", q, lo/s.Pack, y, q, hi/s.Pack, y)
			fmt.Fprintf(&bounds, " 0 <= %s <= %d\n", q, hi/s.Pack)
			fmt.Fprintln(&binaries, "", y)
			fmt.Fprintln(&integers, "", q)
			stretches = append(stretches, y)
			pieces += fmt.Sprintf(" + %d %s", s.Pack, q)
		}
		if len(stretches) == 0 {
			continue
		}
		group := s.Group
		if group == 0 {
			group = -1 - j
		}
		groups[group] = append(groups[group], stretches...)
		sent := ""
		fmt.Fprintf(&cost, " + r%d\n", j)
		fmt.Fprintf(&bounds, " r%d >= 0\n", j)
		for i := range p.Lots {
			if l := p.Lots[i][j]; l.Pieces > 0 {
				x := fmt.Sprintf("x%d_%d", i, j)
				fmt.Fprintf(&cost, " + %d %s\n", l.Cost, x)
				fmt.Fprintf(&rows, " %s - %s <= 0\n", x, strings.Join(stretches, " - "))
				if l.Reach > 0 {
					fmt.Fprintf(&rows, " r%d - %d %s >= 0\n", j, l.Reach, x)
				}
				fmt.Fprintln(&binaries, "", x)
				sent += fmt.Sprintf(" - %d %s", l.Pieces, x)
			}
		}
		if sent != "" {
			fmt.Fprintf(&rows, "%s%s >= 0\n", pieces, sent)
		}
	}
	for _, ys := range groups {
		fmt.Fprintf(&rows, " %s <= 1\n", strings.Join(ys, " + "))
	}
	for i, lots := range p.Lots {
		var from []string
		for j, l := range lots {
			if s := &p.Sellers[j]; l.Pieces > 0 && s.corners(0, s.Most) != nil {
				from = append(from, fmt.Sprintf("x%d_%d", i, j))
			}
		}
		fmt.Fprintf(&rows, " %s = 1\n", strings.Join(from, " + "))
	}
	return fmt.Sprintf("Minimize\n obj:\n%sSubject To\n%sBounds\n%sBinary\n%sGeneral\n%sEnd\n", &cost, &rows, &bounds, &binaries, &integers)
}

// glpsol returns the least cost that the solver of the GNU linear programming kit finds
// in so many seconds, and whether it proved that there is none below.
func glpsol(t testing.TB, p Problem, seconds int) (cost float64, bound float64, proven bool) {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "problem.lp"), filepath.Join(dir, "answer")
	if err := os.WriteFile(in, []byte(lp(p)), 0o600); err != nil {
		t.Fatal(err)
	}
	said, err := exec.Command("glpsol", "--lp", in, "--cuts", "--tmlim", strconv.Itoa(seconds), "-o", out).CombinedOutput()
	if err != nil {
		t.Fatalf("glpsol: %v\n%s", err, said)
	}
	answer, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	status := regexp.MustCompile(`(?m)^Status: +(.*)$`).FindSubmatch(answer)
	objective := regexp.MustCompile(`(?m)^Objective: +obj = ([-+.e0-9]+)`).FindSubmatch(answer)
	if status == nil || objective == nil {
		t.Fatalf("glpsol said\n%s\nand wrote\n%.300s", said, answer)
	}
	cost, err = strconv.ParseFloat(string(objective[1]), 64)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`(?:>=|<=) +([-+.e0-9]+) +[<0-9]`).FindAllSubmatch(said, -1) {
		bound, _ = strconv.ParseFloat(string(m[1]), 64)
	}
	return cost, bound, strings.TrimSpace(string(status[1])) == "INTEGER OPTIMAL"
}

// The solver of the GNU linear programming kit, which shares nothing with this one, finds
// the same cost to the last unit.
func TestPlanEqualsGlpsol(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("glpsol"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("glpsol is not here: install glpk-utils")
		}
		t.Skip("plans were not compared with another solver's: glpsol is not here (package glpk-utils)")
	}
	compared := 0
	for n := 0; compared < 50; n++ {
		if n == 80 {
			t.Fatalf("only %d cases could be compared", compared)
		}
		p := offers(rand.New(rand.NewPCG(uint64(n), 5)), 3+n%3, 10+n%7, 20, true, n%2 == 0, n%3 == 0)
		if n%4 == 0 {
			p.Sellers[0].Group, p.Sellers[1].Group = 1, 1
		}
		got, err := p.Solve()
		if errors.Is(err, ErrNone) {
			continue
		}
		if err != nil || got.Gap() != 0 {
			t.Fatalf("case %d: a gap of %d, %v", n, got.Gap(), err)
		}
		want, _, proven := glpsol(t, p, 20)
		if !proven {
			t.Logf("case %d: glpsol is not done in 20 seconds; the best it found is %.0f, here it is %d", n, want, got.Cost)
			if float64(got.Cost) > want+0.5 {
				t.Errorf("case %d: %d, and glpsol found %.0f", n, got.Cost, want)
			}
			continue
		}
		compared++
		if math.Abs(want-float64(got.Cost)) > 0.5 {
			t.Errorf("case %d: %d, and glpsol found %.3f", n, got.Cost, want)
		}
	}
	t.Logf("%d cases compared", compared)
}

// BenchmarkGlpsol says how far glpsol comes in 10 seconds with rounds that BenchmarkPlan
// solves, and how far Solve.
func BenchmarkGlpsol(b *testing.B) {
	if _, err := exec.LookPath("glpsol"); err != nil {
		b.Skip("glpsol is not here (package glpk-utils)")
	}
	for b.Loop() {
		for seed := range uint64(6) {
			p := offers(rand.New(rand.NewPCG(seed, 9)), 12, 300, []int64{20, 300, 1500}[seed%3], seed > 2, false, false)
			began := time.Now()
			got, err := p.Solve()
			if err != nil {
				b.Fatal(err)
			}
			took := time.Since(began)
			cost, bound, proven := glpsol(b, p, 10)
			said := "no plan"
			switch {
			case proven:
				said = fmt.Sprintf("%.0f, proven", cost)
			case cost > 0:
				said = fmt.Sprintf("%.0f, %.0f ppm above its bound", cost, 1e6*(cost-bound)/cost)
			}
			b.Logf("round %d: %d, %.1f ppm above its bound, in %v; glpsol: %s", seed, got.Cost, 1e6*float64(got.Gap())/float64(got.Cost), took.Round(time.Millisecond), said)
		}
	}
}
