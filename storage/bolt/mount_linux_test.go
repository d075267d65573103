package bolt

import (
	"strings"
	"syscall"
)

// mountTmpfs mounts a small disk in memory; "remount," before the options
// changes it.
func mountTmpfs(dir, options string) error {
	flags := uintptr(0)
	if rest, ok := strings.CutPrefix(options, "remount,"); ok {
		flags |= syscall.MS_REMOUNT
		options = rest
	}
	if options == "ro" {
		flags |= syscall.MS_RDONLY
		options = ""
	}
	return syscall.Mount("none", dir, "tmpfs", flags, options)
}

func unmount(dir string) { _ = syscall.Unmount(dir, syscall.MNT_DETACH) }
