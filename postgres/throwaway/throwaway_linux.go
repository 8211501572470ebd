package throwaway

import "syscall"

// dieWithParent makes the kernel shut the server down when this process ends,
// even by SIGKILL.
func dieWithParent(attr *syscall.SysProcAttr) { attr.Pdeathsig = syscall.SIGQUIT }

// memoryDir returns a folder in memory with room for a server's data, or "". In a
// container it is often limited to 64 MB.
func memoryDir() string {
	const (
		dir  = "/dev/shm"
		room = 512 << 20
	)
	var stat syscall.Statfs_t
	if err := syscall.Statfs(dir, &stat); err != nil || stat.Bavail*uint64(stat.Bsize) < room {
		return ""
	}
	return dir
}
