//go:build !linux

package throwaway

import "syscall"

// dieWithParent does nothing: only Linux can tie a process to its parent.
func dieWithParent(*syscall.SysProcAttr) {}

// memoryDir returns "": there is no folder in memory to count on.
func memoryDir() string { return "" }
