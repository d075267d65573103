package proof

import (
	"encoding/base64"
	"encoding/json"
	"strings"

	"drumhead/storage"
)

// isPractice tells whether ledgers signed by this name are for practice.
func isPractice(name string) bool { return strings.HasPrefix(name, storage.PracticeName) }

// open checks the first entry, and that no other is like it.
func (c *checker) open(rec storage.Record) error {
	if (rec.Seq == 0) != (rec.Command == "ledger.open") {
		return breaks(storage.RuleForm, "open.first")
	}
	if rec.Seq > 0 {
		return nil
	}
	if rec.Player != storage.Bot {
		return breaks(storage.RuleForm, "open.bot")
	}
	if err := only(rec.Args, "vkey", "chain", "practice", "from"); err != nil {
		return err
	}
	vkey := textIn(rec.Args, "vkey")
	name, id, _, err := storage.ParseVKey(vkey)
	if err != nil || id != rec.Ledger {
		return breaks(storage.RuleForm, "open.vkey")
	}
	if value, ok := storage.Member(rec.Args, "practice"); ok != isPractice(name) || ok && string(value) != "true" {
		return breaks(storage.RuleForm, "open.practice")
	}
	if value, ok := storage.Member(rec.Args, "chain"); ok {
		hash, _ := storage.Text(value)
		if _, known := chainOf(hash, c.opt.Chains); !known {
			return breaks(storage.RuleForm, "chain")
		}
		c.Chain = hash
	}
	if err := c.openFrom(rec); err != nil {
		return err
	}
	c.VKey, c.Practice = vkey, isPractice(name)
	if c.Practice {
		c.Remarks = append(c.Remarks, Remark{Kind: RemarkPractice})
	}
	return c.openNotes(vkey)
}

// openFrom checks which ledger this one goes on from.
func (c *checker) openFrom(rec storage.Record) error {
	value, ok := storage.Member(rec.Args, "from")
	if !ok {
		return nil
	}
	if err := only(value, "ledger", "size", "root", "why"); err != nil {
		return err
	}
	var f From
	bad := breaks(storage.RuleForm, "open.from")
	if err := json.Unmarshal(value, &f); err != nil {
		return bad
	}
	again, err := storage.Canon(f)
	root, rootErr := base64.StdEncoding.DecodeString(f.Root)
	if err != nil || string(again) != string(value) || rootErr != nil || len(root) != 32 || base64.StdEncoding.EncodeToString(root) != f.Root {
		return bad
	}
	if id, err := storage.ParseLedgerID(f.Ledger); err != nil || id == rec.Ledger {
		return bad
	}
	c.From = &f
	c.Remarks = append(c.Remarks, Remark{Kind: RemarkFrom, Of: f.Size, Why: f.Why})
	return nil
}

// battle checks that a command's battle is one that began in this ledger.
func (c *checker) battle(rec storage.Record) error {
	value, there := storage.Member(rec.Args, "battle")
	var of uint64
	number := false
	if there {
		of, number = storage.Number(value)
	}
	switch {
	case rec.Command == "battle.open" || rec.Command == "battle.begin":
		if there {
			return breaks(RuleBattle, "battle.begins")
		}
	case there && (Battling{}).Owns(rec.Command) && (!number || !c.battles[of]):
		return breaks(RuleBattle, "battle.none")
	}
	if rec.Command == "battle.begin" {
		c.battles[rec.Seq] = true
	}
	return nil
}
