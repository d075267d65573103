package discord

import (
	"flag"
	"os"
	"testing"
)

// sideBySide is how many tests run at a time: they wait for lines and seconds of
// discordgo's more than they work.
const sideBySide = "8"

func TestMain(m *testing.M) {
	if err := flag.Set("test.parallel", sideBySide); err != nil {
		panic(err)
	}
	flag.Parse()
	os.Exit(m.Run())
}
