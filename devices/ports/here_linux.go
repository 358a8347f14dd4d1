package ports

// Here lists the ports of this computer.
func Here() (List, error) { return Sysfs("/")() }
