package bolt

func childAppends() {}

func childChecks() {}
