package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"drumhead/cmd/bot/internal/terminal"
	"drumhead/commands/args"
	"drumhead/commands/beacon"
	"drumhead/commands/chatscript"
	"drumhead/storage"

	"golang.org/x/term"
)

// seat is how the terminal is used: the flags of play.
type seat struct {
	data, name, as, place, script, practice, organiser, beacon string
	json, strict                                               bool
}

// play lets people at this machine, or a program, play.
func play(c *call) error {
	var s seat
	c.flags.StringVar(&s.data, "data", "", "data directory (usual: one of your own; practice without it leaves nothing)")
	c.flags.StringVar(&s.name, "name", "", "who signs checkpoints, fixed when the directory is made (usual: "+defaultName+")")
	c.flags.StringVar(&s.as, "as", "player", "who says a line without a name")
	c.flags.StringVar(&s.place, "place", chatscript.Table, "where a line is said that names no place")
	c.flags.StringVar(&s.script, "script", "", "read FILE instead of standard input")
	c.flags.BoolVar(&s.json, "json", false, "write each post as one JSON object a line (docs/json.md)")
	c.flags.StringVar(&s.practice, "practice", "", "dice, ids and clock from HEX: the same every time, and marked as practice")
	c.flags.BoolVar(&s.strict, "strict", false, "exit status 1 if any post was an error")
	c.flags.StringVar(&s.beacon, "beacon", "", "URLs of relays of the public beacon, with commas: dice can be cut by its rounds (usual: none)")
	c.flags.StringVar(&s.organiser, "organiser", "", "who runs the places, names with commas (usual: everybody)")
	if _, err := c.parse(0); err != nil {
		return err
	}
	p, err := s.plan(c)
	if err != nil {
		return err
	}
	if p.data == "" {
		if p.data, err = os.MkdirTemp("", "drumhead-practice-"); err != nil {
			return err
		}
		defer os.RemoveAll(p.data)
	}
	return s.sit(c, p)
}

var (
	asForm    = regexp.MustCompile(`^[\p{L}\p{N}_][\p{L}\p{N}_.-]{0,31}$`)
	placeForm = regexp.MustCompile(`^(#[\p{L}\p{N}_-]{1,32}|@dm)$`)
)

// plan reads the flags; its data is "" for a directory that nobody keeps.
func (s *seat) plan(c *call) (plan, error) {
	given := false
	c.flags.Visit(func(f *flag.Flag) { given = given || f.Name == "practice" })
	seed, err := practiceSeed(s.practice, given)
	switch {
	case err != nil:
		return plan{}, err
	case !asForm.MatchString(s.as):
		return plan{}, fmt.Errorf("%w: --as %q: one word expected, as in --as ann", errUsage, s.as)
	case !placeForm.MatchString(s.place):
		return plan{}, fmt.Errorf("%w: --place %q: #NAME or @dm expected, as in --place #table", errUsage, s.place)
	}
	if s.data == "" && seed == nil {
		s.data = usualDirectory()
	}
	p := plan{data: s.data, name: s.name, practice: seed, log: c.log()}
	if s.beacon == "" {
		return p, nil
	}
	if seed != nil {
		return p, fmt.Errorf("%w: --beacon with --practice: a practice clock knows no rounds, leave out one of the two", errUsage)
	}
	if p.relays, err = beacon.ParseRelays(s.beacon); err != nil {
		return p, fmt.Errorf("%w: --beacon: %w", errUsage, err)
	}
	return p, nil
}

// sit opens the house, plays until the input ends, and closes it.
func (s *seat) sit(c *call, p plan) (err error) {
	in := c.in
	config := terminal.Config{JSON: s.json, As: s.as, Place: s.place, Open: opener("."), Log: p.log, Out: c.out}
	if s.script != "" {
		f, err := os.Open(s.script)
		if err != nil {
			return fmt.Errorf("script cannot be read: %w", err)
		}
		defer f.Close()
		in, config.Open, config.Echo = f, opener(filepath.Dir(s.script)), !s.json
	}
	for name := range strings.SplitSeq(s.organiser, ",") {
		if name = strings.TrimSpace(name); name != "" {
			config.Organisers = append(config.Organisers, name)
		}
	}
	config.In, config.Patient = in, regular(in)
	config.Keyboard = isTerminal(in) && isTerminal(c.out) && !s.json
	if isTerminal(c.out) {
		config.Width = func() int { return columnsOf(c.out) }
	}
	h, err := openHouse(c.ctx, p)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.close()) }()
	t, err := h.seat(config)
	if err != nil {
		return err
	}
	return s.run(c.ctx, h, t)
}

func (s *seat) run(ctx context.Context, h *house, t *terminal.Terminal) error {
	if h.clock.real {
		watching, stop := context.WithCancel(ctx)
		over := make(chan struct{})
		go func() { defer close(over); h.watch(watching) }()
		defer func() { stop(); <-over }()
	}
	if err := h.settle(ctx); err != nil { // what an earlier session left unsaid
		return explain(err)
	}
	if err := t.Run(ctx, h.desk); err != nil && ctx.Err() == nil {
		return explain(err)
	}
	if s.strict && t.Errors() > 0 {
		return errSaid
	}
	return nil
}

// explain says what can be done about an error of the store.
func explain(err error) error {
	switch {
	case errors.Is(err, storage.ErrUnknown):
		return fmt.Errorf("it is not certain that the last message was kept: start again and give it once more, it acts only once: %w", err)
	case errors.Is(err, storage.ErrFull):
		return fmt.Errorf("there is no room left for the store; nothing of the last message was kept: %w", err)
	}
	return err
}

// seat gives a new terminal a place at the house's desk.
func (h *house) seat(c terminal.Config) (*terminal.Terminal, error) {
	say, err := sayings()
	if err != nil {
		return nil, err
	}
	c.Say = say
	if c.Keyboard {
		c.History = h.history()
	}
	t := terminal.New(c)
	h.bind(t)
	return t, nil
}

// bind lets a terminal talk with this house from now on.
func (h *house) bind(t *terminal.Terminal) {
	t.Session, t.Now, t.Make, t.Files, t.Settle, t.New = h.session, h.clock.Now, h.desk, h.files(), h.settle, h.sessions == 1
	t.OnPost = func(label, entry string) (string, bool) { return args.OnPost(h.desk.Specs(), label, entry) }
	t.Asks = func(text string) bool { return args.Open(h.desk.Specs(), text) }
	if !h.clock.real {
		t.Wait = h.wait
	}
	h.adapters[terminal.Name] = t
}

// opener opens files that are handed in, by a path from dir. A byte more than
// the limit is read, so that the limit can be named.
func opener(dir string) func(string) ([]byte, error) {
	return func(name string) ([]byte, error) {
		if !filepath.IsAbs(name) {
			name = filepath.Join(dir, name)
		}
		info, err := os.Stat(name) // before it is opened: a pipe without a writer would never open
		if err != nil {
			return nil, err
		}
		if !info.Mode().IsRegular() {
			return nil, errors.New("it is no file")
		}
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		limit := int64((&terminal.Terminal{}).Limits().FileBytes)
		return io.ReadAll(io.LimitReader(f, limit+1))
	}
}

func regular(in io.Reader) bool {
	f, ok := in.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode().IsRegular()
}

func isTerminal(v any) bool {
	f, ok := v.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

func columnsOf(v any) int {
	f, ok := v.(*os.File)
	if !ok {
		return 0
	}
	columns, _, err := term.GetSize(int(f.Fd()))
	if err != nil {
		return 0
	}
	return columns
}
