package luck

import (
	"fmt"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"drumhead/engine/odds"
)

// TestAgainstR holds what /luck and /odds reckon against R, a statisticians' program
// that shares nothing with this one (R Core Team, package stats). Each line is one
// statistic: R's own call, and ours.
func TestAgainstR(t *testing.T) {
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		t.Skip("Rscript is not here; on Debian it comes with apt-get install r-base-core, as .ci/run does")
	}
	faces := []int{41, 33, 37, 30, 38, 33}
	wanted := []float64{0.1, 0.2, 0.3, 0.4}
	_, _, even := ChiSquare(faces, nil)
	statistic, _, given := ChiSquare([]int{14, 18, 33, 35}, wanted)
	holm := Holm([]float64{0.0214, 0.31, 0.0098, 0.76, 0.0441, 0.5})
	tries := odds.Trials(30, 0.5)
	law := odds.Trials(212, 1.0/3)
	mixed := odds.Trials(12, 0.5).Plus(odds.Trials(9, 1.0/3)).Plus(odds.Trials(7, 5.0/6))
	best, ok := odds.Kept(4, 6, 3, false)
	if !ok {
		t.Fatal("the best three of four dice have no law")
	}
	above, _, below := odds.Dice(2, 6).Against(odds.Dice(1, 12))
	checks := []struct {
		what string
		r    string
		ours float64
	}{
		{"chi-square of even faces", "chisq.test(c(41,33,37,30,38,33))$p.value", even},
		{"chi-square of given chances", "chisq.test(c(14,18,33,35),p=c(.1,.2,.3,.4))$statistic", statistic},
		{"its p-value", "chisq.test(c(14,18,33,35),p=c(.1,.2,.3,.4))$p.value", given},
		{"tail of chi-square, 19 degrees", "pchisq(31.7,19,lower.tail=FALSE)", Tail(31.7, 19)},
		{"far tail, one degree", "pchisq(60,1,lower.tail=FALSE)", Tail(60, 1)},
		{"exact two-sided binomial", "binom.test(9,30,.5)$p.value", tries.AsOdd(9)},
		{"the same, lopsided", "binom.test(52,212,1/3)$p.value", law.AsOdd(52)},
		{"lower tail of a binomial", "pbinom(52,212,1/3)", law.AtMost(52)},
		{"upper tail of a binomial", "pbinom(89,212,1/3,lower.tail=FALSE)", law.AtLeast(90)},
		{"one value of a binomial", "dbinom(70,212,1/3)", law.Exactly(70)},
		{"Holm's correction, the smallest", "p.adjust(c(.0214,.31,.0098,.76,.0441,.5),'holm')[3]", holm[2]},
		{"Holm's correction, the next", "p.adjust(c(.0214,.31,.0098,.76,.0441,.5),'holm')[1]", holm[0]},
		{"tries of unlike chances", "x<-convolve(convolve(dbinom(0:12,12,.5),rev(dbinom(0:9,9,1/3)),type='o'),rev(dbinom(0:7,7,5/6)),type='o');sum(x[1:11])", mixed.AtMost(10)},
		{"a total of dice", "m<-rowSums(expand.grid(1:6,1:6,1:6,1:6));mean(m>=17)", odds.Dice(4, 6).AtLeast(17)},
		{"the best three of four", "m<-apply(expand.grid(1:6,1:6,1:6,1:6),1,function(x)sum(x)-min(x));mean(m>=15)", best.AtLeast(15)},
		{"its mean", "m<-apply(expand.grid(1:6,1:6,1:6,1:6),1,function(x)sum(x)-min(x));mean(m)", best.Mean()},
		{"an opposed roll won", "g<-expand.grid(1:6,1:6,1:12);mean(g[,1]+g[,2]>g[,3])", above},
		{"an opposed roll lost", "g<-expand.grid(1:6,1:6,1:12);mean(g[,1]+g[,2]<g[,3])", below},
	}
	var script strings.Builder
	for _, c := range checks {
		fmt.Fprintf(&script, "cat(sprintf('%%.17g\\n',{%s}))\n", c.r)
	}
	out, err := exec.Command(rscript, "-e", script.String()).Output()
	if err != nil {
		t.Fatalf("R: %v", err)
	}
	lines := strings.Fields(string(out))
	if len(lines) != len(checks) {
		t.Fatalf("R gave %d numbers for %d statistics:\n%s", len(lines), len(checks), out)
	}
	for i, c := range checks {
		theirs, err := strconv.ParseFloat(lines[i], 64)
		if err != nil || math.Abs(c.ours-theirs) > 1e-9*math.Abs(theirs) {
			t.Errorf("%s: %.15g, R has %s for %s", c.what, c.ours, lines[i], c.r)
		}
	}
}

// TestPowerAgainstR: how often a loaded die is found by its faces alone is what the
// noncentral chi-square says; the seasons of the other tests find it at least as often.
func TestPowerAgainstR(t *testing.T) {
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		t.Skip("Rscript is not here; on Debian it comes with apt-get install r-base-core, as .ci/run does")
	}
	// Six counts are looked at in those seasons, so the faces must beat a sixth of the level.
	script := fmt.Sprintf("ncp<-function(n)n*6*(.05^2+5*.01^2);p<-function(n,a)pchisq(qchisq(a/6,5,lower.tail=FALSE),5,ncp(n),lower.tail=FALSE);cat(p(%d,%g),p(%d,%g))", DiceForRare, Rare, DiceForOdd, Odd)
	out, err := exec.Command(rscript, "-e", script).Output()
	if err != nil {
		t.Fatalf("R: %v", err)
	}
	var rare, odd float64
	if _, err := fmt.Sscan(string(out), &rare, &odd); err != nil {
		t.Fatalf("%q: %v", out, err)
	}
	t.Logf("by R: %.3f and %.3f", rare, odd)
	if rare < 0.85 || odd < 0.85 {
		t.Errorf("by R a loaded die is found in %.2f and %.2f of seasons", rare, odd)
	}
}
