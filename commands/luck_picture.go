package commands

import (
	"context"
	"fmt"

	"drumhead/commands/chat"
	"drumhead/commands/picture"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/luck"
	"drumhead/storage"
)

// luckScene draws how often each face fell of the dice that fell most, over the
// band of ordinary counts; false if no die with few enough faces fell.
func (a *ask) luckScene(who any, stretch string, r luck.Report) (picture.Luck, bool) {
	var most luck.Count
	for _, c := range append(r.Counts, r.Few...) {
		if c.Sides > 0 && c.Sides <= picture.MaxRows && c.N > most.N {
			most = c
		}
	}
	if most.N == 0 {
		return picture.Luck{}, false
	}
	say := func(id string, pairs ...any) string { return words.Flat(a.say(id, pairs...)) }
	low, high := luck.Band(most.N, most.Sides)
	expected := float64(most.N) / float64(most.Sides)
	p := picture.Luck{
		Title:    say("luck.picture.title", "who", who, "n", most.N, "sides", most.Sides, "over", a.say(stretch)),
		Detail:   say(verdictWords[r.Verdict]),
		Expected: picture.Flag{At: int(1000*expected + 0.5), Words: say("luck.picture.expected", "n", decimal(expected))},
		Low:      low, High: high, Sides: most.Sides,
		Note: say("luck.picture.note", "low", low, "high", high),
	}
	var faces []string
	for i, n := range most.Faces {
		row := picture.Row{Face: i + 1, Count: n}
		switch {
		case n < low:
			row.Word = say("luck.picture.few")
		case n > high:
			row.Word = say("luck.picture.many")
		}
		p.Rows = append(p.Rows, row)
		face := fmt.Sprintf("%d: %d", row.Face, n)
		if row.Word != "" {
			face += " (" + row.Word + ")"
		}
		faces = append(faces, face)
	}
	p.Alt = altOf(a.say("luck.picture.alt", "title", p.Title, "detail", p.Detail), a.say("luck.picture.faces", "faces", faces),
		a.say("luck.picture.band", "n", decimal(expected), "low", low, "high", high))
	return p, true
}

// verdictWords are the sentences that name a verdict in a picture.
var verdictWords = map[luck.Verdict]string{
	luck.TooFew: "luck.picture.too_few", luck.Ordinary: "luck.picture.ordinary",
	luck.Uncommon: "luck.picture.rare", luck.TooOdd: "luck.picture.odd",
}

// luckFile is the chart of one side's dice in a battle, up to an entry, as a file
// beside the report.
func (f field) luckFile(side int, last uint64) chat.Recipe {
	return chat.Recipe{Kind: "luck", Ledger: f.view.ledger.String(), First: int64(f.seq), Last: int64(last),
		Value: f.Players[side], Name: luckFileName(f, side)}
}

func luckFileName(f field, side int) string {
	return fmt.Sprintf("%s-luck-%s.svg", slug(string(f.title())), "ab"[side:side+1])
}

// makeLuck draws the dice of a player in a battle.
func makeLuck(ctx context.Context, d *Desk, r chat.Recipe) ([]byte, error) {
	a, l, err := d.asking(ctx, r)
	if err != nil {
		return nil, err
	}
	tallies := proof.NewTallies(d.file, proof.Span{Battle: uint64(r.First)})
	for raw, err := range d.store.Read(ctx, l, 0, uint64(r.Last)+1) {
		if err != nil {
			return nil, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return nil, err
		}
		if err := tallies.Entry(rec); err != nil {
			return nil, err
		}
	}
	scene, ok := a.sideLuck(tallies, r.Value)
	if !ok {
		return nil, fmt.Errorf("commands: %s rolled no dice in battle %d of %s", r.Value, r.First, r.Ledger)
	}
	sheet, err := picture.Lay(scene)
	if err != nil {
		return nil, err
	}
	return picture.Encode(sheet, r.Name)
}

// sideLuck is the chart of a player's dice in a battle; false without any.
func (a *ask) sideLuck(tallies *proof.Tallies, player string) (picture.Luck, bool) {
	tally := tallies.By[player]
	if tally == nil {
		return picture.Luck{}, false
	}
	return a.luckScene(a.here.who(player), "luck.over.battle", tally.Look())
}
