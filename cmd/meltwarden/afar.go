package main

import (
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
)

// fromElsewhere are the variables that are set where somebody comes over SSH, and in a
// terminal that can be left and taken up from elsewhere.
var fromElsewhere = []string{"SSH_CONNECTION", "SSH_CLIENT", "SSH_TTY", "TMUX", "STY"}

// leaders are the programs that lead such sessions, by how their names begin.
var leaders = []string{"sshd", "dropbear", "mosh-server", "in.telnetd", "telnetd", "tmux", "screen", "SCREEN"}

// afar reports whether the person who started this program is not at this computer, as far
// as can be told.
func afar() bool {
	for _, name := range fromElsewhere {
		if os.Getenv(name) != "" {
			return true
		}
	}
	return runtime.GOOS == "linux" && ledFromAfar("/proc", os.Getpid())
}

// ledFromAfar looks at the processes that a process comes from: what gives a program the
// rights of somebody else takes its variables away, and leaves it where it is. A line of
// them that can not be followed to the first process counts as from afar. Where the first
// is itself asked there is nothing to follow, as in a container.
func ledFromAfar(proc string, pid int) bool {
	for range 64 { // a line as long as that is none of a person's
		if pid == 1 {
			return false
		}
		name, parent, err := processOf(proc, pid)
		if err != nil || leads(name) || hasVariable(proc, pid) {
			return true
		}
		pid = parent
	}
	return true
}

func leads(name string) bool {
	return slices.ContainsFunc(leaders, func(l string) bool { return strings.HasPrefix(name, l) })
}

// processOf is the name of a process, and its parent. The name stands in brackets and may
// have any letters in it.
func processOf(proc string, pid int) (name string, parent int, err error) {
	stat, err := os.ReadFile(filepath.Join(proc, strconv.Itoa(pid), "stat"))
	if err != nil {
		return "", 0, err
	}
	text := string(stat)
	begin, end := strings.IndexByte(text, '('), strings.LastIndexByte(text, ')')
	if begin < 0 || end < begin {
		return "", 0, strconv.ErrSyntax
	}
	after := strings.Fields(text[end+1:])
	if len(after) < 2 {
		return "", 0, strconv.ErrSyntax
	}
	parent, err = strconv.Atoi(after[1])
	return text[begin+1 : end], parent, err
}

// hasVariable reports whether a process was started with one of those. Those of other users
// can not be read, and tell nothing.
func hasVariable(proc string, pid int) bool {
	environ, _ := os.ReadFile(filepath.Join(proc, strconv.Itoa(pid), "environ"))
	for variable := range strings.SplitSeq(string(environ), "\x00") {
		name, value, _ := strings.Cut(variable, "=")
		if value != "" && slices.Contains(fromElsewhere, name) {
			return true
		}
	}
	return false
}
