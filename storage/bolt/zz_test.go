package bolt
import ("testing";"fmt";"time")
func BenchmarkZZ(b *testing.B) {
	e := newEvenings(b, preload(b), false)
	r := newBare(e, preload(b))
	n, by := 0, 0
	hook(b, e.store.db, func(w pageWrite) pageWrite { return func(p []byte, at int64) (int, error) { n++; by += len(p); return w(p, at) } })
	m, my := 0, 0
	hook(b, r.db, func(w pageWrite) pageWrite { return func(p []byte, at int64) (int, error) { m++; my += len(p); return w(p, at) } })
	for b.Loop() {
		e.rng.Perm(3)
		ls := e.rng.Perm(len(e.heads))[:25]
		for _, l := range ls { e.append(l, e.batch(l,1)); r.commit(1) }
	}
	fmt.Println("ours writes/commit", float64(n)/float64(b.N*25), "bytes", by/(b.N*25), "bare", float64(m)/float64(b.N*25), my/(b.N*25), time.Now())
	e.close()
}
