//go:build unix

package bolt

import "syscall"

// errQuota is what writing over one's quota gives.
const errQuota = syscall.EDQUOT
