//go:build race

package main

// raced: the race detector is in the tests, and then in the program they drive.
const raced = true
