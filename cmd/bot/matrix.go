package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/term"

	"drumhead/cmd/bot/internal/matrix"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/storage/bolt"
)

// account looks after the bot's account on Matrix: bot matrix login, verify and
// logout. None of it runs while the bot serves: the pocket is in use then.
func account(c *call) error {
	path := c.flags.String("config", "", "the config of bot serve")
	again := c.flags.Bool("recover", false, "login: a new device in place of a lost one, with the recovery key")
	rest, err := c.parse(1)
	if err != nil {
		return err
	}
	deeds := map[string]func(*keeper) error{"login": (*keeper).login, "verify": (*keeper).verify, "logout": (*keeper).logout}
	if *again {
		deeds = map[string]func(*keeper) error{"login": (*keeper).recover}
	}
	if len(rest) == 0 || deeds[rest[0]] == nil || *path == "" {
		return fmt.Errorf("%w: login, verify or logout, and a config; as in bot matrix login --config drumhead.toml", errUsage)
	}
	cfg, err := readConfig(*path)
	if err != nil {
		return err
	}
	if cfg.Matrix == nil {
		return fmt.Errorf("%s has no [matrix]; docs/matrix.md shows one", *path)
	}
	k, err := c.keeper(cfg)
	if err != nil {
		return err
	}
	err = deeds[rest[0]](k)
	return errors.Join(err, k.pocket.Close())
}

// keeper is an operator at the bot's account.
type keeper struct {
	*call
	config config
	pocket *bolt.Pocket
	parts  matrix.Parts
	lines  *bufio.Reader
}

func (c *call) keeper(cfg config) (*keeper, error) {
	if err := os.MkdirAll(cfg.Data, 0o700); err != nil {
		return nil, rights(cfg.Data, err)
	}
	pocket, err := bolt.OpenPocket(filepath.Join(cfg.Data, matrix.Name+".pocket"))
	if err != nil {
		return nil, err
	}
	return &keeper{call: c, config: cfg, pocket: pocket, parts: matrix.Parts{Pocket: pocket, Log: c.log()}, lines: bufio.NewReader(c.in)}, nil
}

// ask reads a line, unseen where somebody sits at a keyboard.
func (k *keeper) ask(question string) (string, error) {
	fmt.Fprint(k.errs, question)
	if f, ok := k.in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		b, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(k.errs)
		return strings.TrimSpace(string(b)), err
	}
	line, err := k.lines.ReadString('\n')
	if errors.Is(err, io.EOF) && line != "" {
		err = nil
	}
	if err != nil {
		return "", fmt.Errorf("an answer is expected: %w", err)
	}
	return strings.TrimSpace(line), nil
}

// password asks for the password, once it is clear that it can be used.
func (k *keeper) password() (string, error) {
	if err := matrix.Reach(k.ctx, *k.config.Matrix, k.parts); err != nil {
		return "", err
	}
	return k.ask("Password of " + k.config.Matrix.User + ": ")
}

func (k *keeper) login() error {
	password, err := k.password()
	if err != nil {
		return err
	}
	recovery, err := matrix.Login(k.ctx, *k.config.Matrix, k.parts, password)
	if err != nil {
		return err
	}
	if recovery == "" {
		fmt.Fprintln(k.out, "Logged in again as the same device.")
		return nil
	}
	fmt.Fprintf(k.out, "Logged in. The recovery key, shown only now:\n\n    %s\n\nWrite it down and keep it apart from this machine: without it a lost device\ncannot be replaced quietly. Next: bot doctor, then bot serve.\n", recovery)
	return nil
}

func (k *keeper) recover() error {
	password, err := k.password()
	if err != nil {
		return err
	}
	recovery, err := k.ask("Recovery key: ")
	if err != nil {
		return err
	}
	if err := matrix.Recover(k.ctx, *k.config.Matrix, k.parts, password, recovery); err != nil {
		return err
	}
	fmt.Fprintln(k.out, "Logged in as a new device, signed with the recovery key. The old device is deleted.")
	return nil
}

func (k *keeper) verify() error {
	recovery, err := k.ask("Recovery key: ")
	if err != nil {
		return err
	}
	fmt.Fprintln(k.out, "Waiting: open the bot's profile in your own client, and choose to verify it by emoji.")
	err = matrix.Verify(k.ctx, *k.config.Matrix, k.parts, recovery, func(emoji []string) bool {
		fmt.Fprintf(k.out, "%s\n", strings.Join(emoji, "  "))
		said, err := k.ask("Does your client show the same, in the same order? yes or no: ")
		return err == nil && strings.EqualFold(said, "yes")
	})
	if err == nil {
		fmt.Fprintln(k.out, "Verified.")
	}
	return err
}

func (k *keeper) logout() error {
	if err := matrix.Logout(k.ctx, *k.config.Matrix, k.parts); err != nil {
		return err
	}
	fmt.Fprintln(k.out, "Logged out: the device is deleted, and nothing of it is kept here. The games are as they were.")
	return nil
}

// matrixPlatform connects Matrix.
func (c config) matrixPlatform() platform {
	return platform{name: matrix.Name,
		open: func(h *house, pocket chat.Pocket) (chat.Adapter, error) {
			say, err := sayings()
			if err != nil {
				return nil, err
			}
			return matrix.New(*c.Matrix, matrix.Parts{Pocket: pocket, Make: h.desk, Say: say, Now: h.clock.Now, OnPost: func(label, entry string) (string, bool) { return args.OnPost(h.desk.Specs(), label, entry) }, Settle: h.wake, Log: h.log.With("platform", matrix.Name)})
		},
		look: func(ctx context.Context) []finding { return c.lookAtMatrix(ctx) },
	}
}

// lookAtMatrix asks the adapter what it finds. While the bot runs its pocket is in
// use, and nothing can be found.
func (c config) lookAtMatrix(ctx context.Context) []finding {
	path := filepath.Join(c.Data, matrix.Name+".pocket")
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return []finding{{what: matrix.Name, wrong: bare(matrix.ErrNoLogin.Error())}}
	}
	pocket, err := bolt.OpenPocket(path)
	switch {
	case errors.Is(err, bolt.ErrInUse):
		return []finding{{what: matrix.Name, found: "in use: the bot is running; stop it to look closer"}}
	case err != nil:
		return []finding{{what: matrix.Name, wrong: err.Error()}}
	}
	defer pocket.Close()
	var all []finding
	for _, f := range matrix.Doctor(ctx, *c.Matrix, matrix.Parts{Pocket: pocket}) {
		one := finding{what: matrix.Name + ", " + f.What, found: f.Says}
		if !f.Good {
			one.found, one.wrong = "", bare(f.Says)
		}
		all = append(all, one)
	}
	return all
}

// bare is an error of Matrix where it stands under Matrix already.
func bare(says string) string { return strings.TrimPrefix(says, matrix.Name+": ") }
