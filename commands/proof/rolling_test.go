package proof

import (
	"errors"
	"testing"

	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/engine/sentence"
	"drumhead/storage"
)

// rollAs decides and folds one roll with given faces.
func rollAs(t *testing.T, g Game, seq uint64, args RollArgs, faces ...[]int) Game {
	t.Helper()
	object, err := storage.Canon(args)
	if err != nil {
		t.Fatal(err)
	}
	c := Command{Seq: seq, Player: "p1", Name: "roll", Args: object}
	if mayRoll, err := g.Check(c); err != nil || !mayRoll {
		t.Fatalf("%s: %v", args.Dice, err)
	}
	d := dice.NewShown(faces)
	var events []storage.Object
	err = dice.Try(func() (err error) {
		events, err = g.Decide(c, d)
		return errors.Join(err, d.Done())
	})
	if err != nil {
		t.Fatalf("%s: %v", args.Dice, err)
	}
	next, err := g.Apply(c, events)
	if err != nil {
		t.Fatal(err)
	}
	return next
}

func TestRollingCarries(t *testing.T) {
	g := NewGame(nil)
	g = rollAs(t, g, 2, RollArgs{Dice: "5d6 3+"}, []int{6, 6, 5, 4, 2, 1})
	g = rollAs(t, g, 3, RollArgs{Dice: "2d6"}, []int{6, 3, 4})
	g = rollAs(t, g, 4, RollArgs{Dice: "again 4+", Of: 2}, []int{6, 4, 4, 1})
	g = rollAs(t, g, 5, RollArgs{Dice: "again save 5+", Of: 4}, []int{6, 5, 2})
	rolls := RollsOf(g)
	save, err := sentence.Parse("2d6 save 5+")
	if err != nil {
		t.Fatal(err)
	}
	chain, first, ok := rolls.Chain(5, save)
	if !ok || chain.Plain() != "5d6 3+, 4+, save 5+" || first.Seq != 2 {
		t.Errorf("%q from %d", chain.Plain(), first.Seq)
	}
	if last, _ := rolls.Newest(); last.Carry.Dice != 1 || last.Carry.Sides != 6 || last.Dice != "2d6 save 5+" {
		t.Errorf("%+v", last)
	}
	for seq := uint64(6); seq < 6+MostRolls; seq++ {
		g = rollAs(t, g, seq, RollArgs{Dice: "d6"}, []int{6, 1})
	}
	if got := RollsOf(g); len(got) != MostRolls || got[0].Seq != 6 {
		t.Errorf("%d rolls are kept, from %d", len(got), got[0].Seq)
	}
}

func TestRollingRefuses(t *testing.T) {
	g := rollAs(t, NewGame(nil), 2, RollArgs{Dice: "2d6 6+"}, []int{6, 1, 2})
	for _, c := range []struct {
		args string
		id   string // of the refusal; "" for args that no desk writes
	}{
		{`{"dice":"again 4+","of":2}`, "dice.refuse.no_carry"},
		{`{"dice":"again 4+","of":7}`, "dice.refuse.no_carry"},
		{`{"dice":"0d6"}`, "dice.refuse.no_dice"},
		{`{"dice":"again 4+"}`, ""},
		{`{"dice":"12d6 4+","of":2}`, ""},
		{`{"dice":"12D6 4+"}`, ""},
		{`{"dice":"12d6 4+ for the bridge"}`, ""},
		{`{"dice":"12d6","luck":1}`, ""},
		{`{}`, "dice.refuse.empty"},
	} {
		cmd := Command{Seq: 3, Player: "p1", Name: "roll", Args: storage.Object(c.args)}
		_, err := g.Check(cmd)
		var r *reason.Refusal
		if err == nil || errors.As(err, &r) != (c.id != "") || r != nil && r.Reason.ID != c.id {
			t.Errorf("%s: %v, expected %q", c.args, err, c.id)
		}
		if events, err := g.Decide(cmd, dice.NewShown(nil)); err == nil {
			t.Errorf("%s was decided: %s", c.args, events)
		}
	}
}
