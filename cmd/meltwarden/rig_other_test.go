//go:build !linux

package main

// hurry does nothing.
func hurry() {}
