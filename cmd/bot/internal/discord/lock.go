package discord

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// errTwice is the answer to a second process with the same token and shard: both
// would hear everything, and answer it.
var errTwice = errors.New("discord: another process of this machine runs with this token and shard already; stop it, or give each shards of its own, as in shards = \"0-1/4\"")

// lock takes the shards of a token on a Discord for this process, until release
// is called.
func lock(base string, t Token, s shards) (release func(), err error) {
	var held []func()
	release = func() {
		for _, free := range held {
			free()
		}
	}
	for n := s.first; n <= s.last; n++ {
		name := fmt.Sprintf("drumhead-discord-%s-%d-%d.lock", digest(base+"\x00"+string(t)), n, s.count)
		free, err := lockFile(filepath.Join(os.TempDir(), name))
		if err != nil {
			release()
			return nil, err
		}
		held = append(held, free)
	}
	return release, nil
}
