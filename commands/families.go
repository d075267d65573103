package commands

import (
	"context"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// What a family gives the desk, besides its commands, is listed here; each list
// is read in order and never changed.

// families is every family of commands, in the order of the help.
var families = []func() []command{
	startCommands,
	diceCommands,
	cutCommands,
	entryCommands,
	luckCommands,
	oddsCommands,
	tellCommands,
	hideCommands,
	forceCommands,
	battleCommands,
	undoCommands,
	campaignCommands,
	resultCommands,
	meCommands,
	settingsCommands,
}

// nameLists know what can be named: units of the battle here, regions, forces.
// The first that answers counts.
var nameLists = []func(a *ask, k args.Kind) []string{
	forceNames,
	battleNames,
	campaignNames,
}

// explainers put entries of a command into words, step by step, for /explain.
var explainers = map[string]func(e *explained) ([]chat.Line, error){
	"roll":         explainRoll,
	"order":        explainOrder,
	"battle.pass":  explainOrder,
	"battle.begin": explainBegin,
}

// oddities say how likely it was what fell, for /proof: one line, or none.
var oddities = map[string]func(e *explained) (chat.Line, bool){
	"roll":  oddRoll,
	"order": oddOrder,
}

// makers write the file or draw the picture of a recipe, by its kind.
var makers = withPictures(map[string]maker{
	"entries":    makeEntries,
	"checkpoint": makeCheckpoint,
	"proof":      makeProof,
	"dice":       makeDice,
	"report":     makeReport,
	"luck":       makeLuck,
	"rules":      makeRules,
})

// maker makes what a recipe asks for; made again it is the same bytes.
type maker func(ctx context.Context, d *Desk, r chat.Recipe) ([]byte, error)

// waiting looks for what waits for a person in one place of theirs, for /due.
var waiting = []func(a *ask, v *view, who chat.Person) []due{
	campaignWaiting,
	battleDue,
	cutWaiting,
}

// due is one thing that waits for somebody, and the choice that goes on with it.
type due struct {
	line chat.Line
	till time.Time // zero: no deadline
	work int       // 1 a tap, 2 a message, 3 a turn; the small things come first
	tap  chat.Choice
}

// explained is an entry that somebody asks about.
type explained struct {
	ask    *ask
	view   *view          // its ledger, as it stands now
	rec    storage.Record // the entry
	before proof.Game     // the state that it was decided on
	part   int            // 3 of 210.3; 0 for the whole entry
	drawn  []chat.Recipe  // the dice that were explained, if they fit one picture
	files  []chat.Recipe  // the dice that the explanation is too short for
}
