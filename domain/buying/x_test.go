package buying
import ("testing";"math/rand/v2";"time")
func TestOne(t *testing.T){
 for _, sz := range [][2]int{{6,50},{12,300}} {
 r := rand.New(rand.NewPCG(3, 4))
 for n := range 4 {
  p := random(r, sz[0], sz[1], 4, n%2==0, false); p.Work=1
  start := time.Now()
  root, err := p.Solve()
  rd := time.Since(start)
  p.Work=20000
  start = time.Now()
  got, err := p.Solve()
  t.Logf("%v %d: root %d gap %d %v; cost %d gap %d nodes %d %v %v", sz, n, root.Cost, root.Gap(), rd, got.Cost, got.Gap(), got.Nodes, time.Since(start), err)
 }}
}
