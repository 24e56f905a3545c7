package main

import "golang.org/x/sys/unix"

const (
	getMode = unix.TIOCGETA
	setMode = unix.TIOCSETA
)
