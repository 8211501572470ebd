package throwaway

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	embeddedpostgres "github.com/fergusstrange/embedded-postgres"
)

// TestFetch downloads from a repository of its own. What it serves in place of the
// real binaries are scripts that call the installed ones.
func TestFetch(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir()) // for the logs that the library leaves behind
	real, err := binaries(t.Context(), "", 0, func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	archive := jar(t, real)
	var downloads atomic.Int32
	repository := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case !strings.Contains(r.URL.Path, "/"+string(fetchedVersion)+"/"):
			http.NotFound(w, r)
		case strings.HasSuffix(r.URL.Path, ".jar"):
			downloads.Add(1)
			_, _ = w.Write(archive)
		case strings.HasSuffix(r.URL.Path, ".sha256"):
			_, _ = fmt.Fprintf(w, "%x", sha256.Sum256(archive))
		}
	}))
	defer repository.Close()
	config := embeddedpostgres.DefaultConfig().BinaryRepositoryURL(repository.URL)

	cache, err := os.MkdirTemp("/tmp", "throwaway-test-") // the server's user has to enter it
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(cache)
	if err := os.Chmod(cache, 0o755); err != nil {
		t.Fatal(err)
	}
	results := make(chan error)
	for range 2 { // side by side, as test binaries do
		go func() {
			_, err := fetchInto(t.Context(), cache, config)
			results <- err
		}()
	}
	for range 2 {
		if err := <-results; err != nil {
			t.Error(err)
		}
	}
	if n := downloads.Load(); n != 1 {
		t.Errorf("%d downloads, want 1", n)
	}

	repository.Close() // from here on the cache has to do
	bin, err := fetchInto(t.Context(), cache, config)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Start(t.Context(), Options{BinDir: bin})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Stop(); err != nil {
		t.Error(err)
	}
}

func TestFetchFails(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	for name, answer := range map[string]http.HandlerFunc{
		"not there":      http.NotFound,
		"not an archive": func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("<html>welcome</html>")) },
		"hung up":        func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) },
	} {
		t.Run(name, func(t *testing.T) {
			repository := httptest.NewServer(answer)
			defer repository.Close()
			cache := t.TempDir()
			dir, err := fetchInto(t.Context(), cache, embeddedpostgres.DefaultConfig().BinaryRepositoryURL(repository.URL))
			if err == nil {
				t.Fatalf("fetched into %s", dir)
			}
			if !strings.Contains(err.Error(), string(fetchedVersion)) {
				t.Errorf("%q does not say what was fetched", err)
			}
			if _, err := os.Stat(filepath.Join(cache, string(fetchedVersion))); err == nil {
				t.Error("a failed download is in the cache")
			}
		})
	}
}

// jar packs scripts that call the binaries in a folder, the way the repository
// packs the binaries: a tar in an xz in a zip.
func jar(t *testing.T, bin string) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := tar.NewWriter(&packed)
	for _, name := range []string{"initdb", "pg_ctl", "postgres"} {
		script := fmt.Sprintf("#!/bin/sh\nexec %s/%s \"$@\"\n", bin, name)
		if err := w.WriteHeader(&tar.Header{Name: "bin/" + name, Mode: 0o755, Size: int64(len(script))}); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(script)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	var zipped bytes.Buffer
	z := zip.NewWriter(&zipped)
	f, err := z.Create("postgres.txz")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(xz(packed.Bytes())); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return zipped.Bytes()
}

// xz wraps up to 64 KiB in the .xz file format without compressing them, after its
// specification (tukaani.org/xz/xz-file-format.txt): one block of one chunk.
func xz(content []byte) []byte {
	sum := func(b []byte) []byte { return binary.LittleEndian.AppendUint32(nil, crc32.ChecksumIEEE(b)) }
	pad := func(b []byte) []byte { return append(b, make([]byte, -len(b)&3)...) }

	flags := []byte{0, 1} // checked by CRC32
	file := append([]byte("\xfd7zXZ\x00"), flags...)
	file = append(file, sum(flags)...)

	header := []byte{2, 0, 0x21, 1, 0, 0, 0, 0} // (2+1)*4 bytes, one filter: LZMA2, dictionary of 4 KiB
	block := append(header, sum(header)...)
	block = append(block, 1) // an uncompressed chunk, which resets the dictionary
	block = binary.BigEndian.AppendUint16(block, uint16(len(content)-1))
	block = append(block, content...)
	block = append(block, 0) // no more chunks
	unpadded := len(block) + crc32.Size
	file = append(file, pad(block)...)
	file = append(file, sum(content)...)

	index := []byte{0, 1} // one record
	index = binary.AppendUvarint(index, uint64(unpadded))
	index = pad(binary.AppendUvarint(index, uint64(len(content))))
	file = append(append(file, index...), sum(index)...)

	footer := binary.LittleEndian.AppendUint32(nil, uint32(len(index)/4)) // its size with the sum, in fours, less one
	footer = append(footer, flags...)
	file = append(append(file, sum(footer)...), footer...)
	return append(file, "YZ"...)
}

func TestDownloadIsTheLastResort(t *testing.T) {
	t.Parallel()
	_, err := binaries(t.Context(), t.TempDir(), 0, func(what string) { t.Errorf("with a folder given: %s", what) })
	if err == nil {
		t.Error("binaries in an empty folder")
	}
}
