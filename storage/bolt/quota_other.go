//go:build !unix

package bolt

import "syscall"

// errQuota stands for writing over one's quota, which this system has no own error for.
const errQuota = syscall.ENOSPC
