package campaign

// Command is one thing asked of the campaign: by a pseudonym, or by Bot.
type Command struct {
	By  string
	Act Act
}

// Act is what is asked: Start, Join, Claim, Agree, Object, Result or Close. Its
// exported fields are the args of the entry. What only the desk can know (roles,
// times, whom a name means) stands in them.
type Act interface {
	// Name is the command as it stands in an entry.
	Name() string
	// sound refuses what no state could allow: a field out of its form.
	sound() error
	decide(s State, by string) ([]Event, error)
}

// Bot is the player of what the bot does by itself.
const Bot = "bot"

// How a result came to count.
const (
	HowBattle    = "battle"    // played here; the battle's own ledger proves it
	HowAgreed    = "agreed"    // one side reported it, and the other agreed
	HowUnopposed = "unopposed" // one side reported it, and nobody objected in time
	HowRuled     = "ruled"     // an organiser said so
)

// Start begins the campaign on a file that the entry pins.
type Start struct {
	File      string `json:"file"` // what it was called; its bytes are known by SHA256
	Organiser bool   `json:"organiser,omitempty"`
	SHA256    string `json:"sha256"`
	Until     int64  `json:"until"` // when round 1 closes, Unix milliseconds; 0: when an organiser says so
}

// Join takes a home: the named region, or the first free one.
type Join struct {
	Home string `json:"home,omitempty"`
}

// Report is a claim: a battle played elsewhere, reported by one of its two
// players. It counts once the other agrees, or lets it stand.
type Report struct {
	Score
	Until int64 `json:"until"` // when it counts if nobody objects, Unix milliseconds
}

// Agree says of a claim of the other side: so it was.
type Agree struct {
	Claim int `json:"claim"`
}

// Object says of a claim of the other side: not so. Of one's own it takes it back.
type Object struct {
	Claim int `json:"claim"`
}

// Result makes a battle count: one played here (Battle and Units are given), a
// claim that nobody objected to (Claim), or what an organiser rules (Score or
// Claim).
type Result struct {
	Battle    *Battle `json:"battle,omitempty"`
	Claim     int     `json:"claim,omitempty"`
	How       string  `json:"how"`
	Organiser bool    `json:"organiser,omitempty"`
	Score     *Score  `json:"score,omitempty"`
	Units     []Deeds `json:"units,omitempty"`
}

// Deeds is what one unit did in a battle.
type Deeds struct {
	Broke  int    `json:"broke,omitempty"`  // enemy units that it broke
	Fell   bool   `json:"fell,omitempty"`   // it was destroyed or driven off
	Fought bool   `json:"fought,omitempty"` // it took part
	Player string `json:"player"`
	Unit   string `json:"unit"` // its key among its owner's: kind and ordinal
}

// Close ends the present round and begins the next.
type Close struct {
	Organiser bool  `json:"organiser,omitempty"`
	Round     int   `json:"round"` // the one to close: a timer that comes late closes nothing
	Until     int64 `json:"until"` // when the next one closes; 0: when an organiser says so
}

// Name is the command as it stands in an entry.
func (Start) Name() string { return "campaign.start" }

// Name is the command as it stands in an entry.
func (Join) Name() string { return "campaign.join" }

// Name is the command as it stands in an entry.
func (Report) Name() string { return "campaign.claim" }

// Name is the command as it stands in an entry.
func (Agree) Name() string { return "campaign.agree" }

// Name is the command as it stands in an entry.
func (Object) Name() string { return "campaign.object" }

// Name is the command as it stands in an entry.
func (Result) Name() string { return "campaign.result" }

// Name is the command as it stands in an entry.
func (Close) Name() string { return "campaign.round" }

// Check refuses, with a *reason.Refusal, everything that Decide refuses. No
// command of a campaign rolls dice.
func Check(s State, c Command) error {
	_, err := Decide(s, c)
	return err
}

// Decide gives the events of a command on a state. It reads only.
func Decide(s State, c Command) ([]Event, error) {
	if err := c.Act.sound(); err != nil {
		return nil, err
	}
	if _, starts := c.Act.(Start); !starts && s.Round == 0 {
		return nil, refuse("/campaign start", "none")
	}
	return c.Act.decide(s, c.By)
}
