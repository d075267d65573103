package commands

import (
	"strconv"
	"strings"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/storage"
)

// spelled is the command of an entry in words that are nobody's own: ids and
// numbers as the entry has them.
func (d *done) spelled() chat.Line {
	say := d.after.speaker().Say
	switch rec := d.rec; rec.Command {
	case "roll":
		dice, _ := storage.Member(rec.Args, "dice")
		text, _ := storage.Text(dice)
		return say("cut.what.roll", "dice", text)
	case battle.CommandOrder:
		do, err := battle.ParseDo(rec.Command, rec.Args)
		sheet, ok := do.(battle.Sheet)
		if err != nil || !ok {
			break
		}
		return say("cut.what.order", "orders", spelledSheet(proof.BattlesOf(d.before.game).Begun[sheet.Battle], sheet))
	case battle.CommandBegin:
		return say("cut.what.begin")
	case battle.CommandPass:
		return say("cut.what.pass")
	}
	return say("cut.what.other", "command", d.rec.Command)
}

// spelledSheet is a sheet's orders with the pack's own names.
func spelledSheet(s battle.State, sheet battle.Sheet) string {
	s.Names = nil
	var out []string
	for _, l := range sheet.Orders {
		out = append(out, spelledLine(s, l))
	}
	return strings.Join(out, "; ")
}

func spelledLine(s battle.State, l battle.Line) string {
	words := []string{string(l.Order)}
	if l.Unit != "" {
		words = append(words, s.Short(l.Unit))
	}
	if p := s.Pack.Power(l.Power); p != nil {
		words = append(words, p.Title)
	}
	for i, aim := range append([]battle.Aim{l.Aim}, l.Shares...) {
		if aim.At == "" {
			continue
		}
		if i < 2 {
			words = append(words, "at")
		} else {
			words = append(words, "and")
		}
		words = append(words, spelledAim(s, aim))
	}
	text := strings.Join(words, " ")
	for _, aim := range l.Else {
		if aim.At == "" {
			text += ", else hold"
		} else {
			text += ", else " + spelledAim(s, aim)
		}
	}
	if l.If != nil {
		text += ", if " + s.Short(l.If.Unit) + " " + string(l.If.Is)
	}
	return text
}

// spelledAim is a target with what was said to lie between.
func spelledAim(s battle.State, a battle.Aim) string {
	text := s.Short(a.At)
	if _, ok := s.Unit(a.At); !ok {
		text = s.Objective(a.At)
	}
	if a.Tenths > 0 {
		text += " " + strconv.FormatFloat(float64(a.Tenths)/10, 'f', -1, 64) + " in"
	}
	for _, said := range []struct {
		is   bool
		word string
	}{{a.Cover, "in cover"}, {a.Half, "half range"}, {a.Hidden, "no sight"}, {a.Arc != "", a.Arc}, {a.Across != "", "across " + a.Across},
		{a.Models > 0, strconv.Itoa(a.Models) + " models"}, {a.Weapon != "", a.Weapon}} {
		if said.is {
			text += ", " + said.word
		}
	}
	return text
}
