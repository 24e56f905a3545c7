package main

import "golang.org/x/sys/unix"

const (
	getMode = unix.TCGETS
	setMode = unix.TCSETS
)
