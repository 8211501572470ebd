package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "shoalbook"

// arrows says which packages of the module each of them may import: main → api →
// postgres → domain. Whoever adds a package says here where it belongs.
var arrows = map[string][]string{
	"":                      {"api", "postgres", "postgres/throwaway", "domain", "domain/simulate"},
	"api":                   {"openapi", "postgres", "domain", "domain/husbandry", "api/render"},
	"api/render":            {},
	"api/render/rendertest": {},
	"openapi":               {},
	"openapi/client":        {"openapi"},
	"postgres":              {"domain", "migrations"},
	"postgres/throwaway":    {},
	"postgres/postgrestest": {"postgres", "postgres/throwaway", "migrations"},
	"migrations":            {},
	"domain":                {"domain/husbandry", "domain/stats", "domain/buying"},
	"domain/husbandry":      {},
	"domain/stats":          {},
	"domain/buying":         {},
	"domain/simulate":       {"domain"},
	"integration":           {},
}

// foreign says which packages of others are not for a layer, by the beginnings of
// their paths.
var foreign = map[string][]string{
	"api":      {"github.com/jackc/"},
	"openapi":  {"github.com/jackc/"},
	"postgres": {"github.com/gin-gonic/", "net/http"},
}

// What a domain without network, database, files, clock and chance does without. The
// standard library's own fmt needs os, so that only the domain itself is held to
// that one.
var (
	notInDomain = []string{"os", "io/fs", "embed", "crypto/rand", "math/rand", "runtime"}
	notBelow    = []string{"net", "database/sql", "log", "os/exec", "os/signal", "testing"}
)

// exempt is the one library of the binary that brings testing along.
const exempt = "github.com/fergusstrange/embedded-postgres"

type goPackage struct {
	ImportPath, Dir  string
	GoFiles, Imports []string
	Standard         bool
}

// place returns where a package is in the module, "" for the main package.
func (p goPackage) place() string {
	return strings.TrimPrefix(strings.TrimPrefix(p.ImportPath, module), "/")
}

// packages lists the packages of the module and all that they need, by path. It
// sees what is shipped: no tests.
func packages(t *testing.T) (all map[string]goPackage, ours []goPackage) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "go", "list", "-deps", "-json=ImportPath,Dir,GoFiles,Imports,Standard", "./...").Output()
	if err != nil {
		if failed, ok := errors.AsType[*exec.ExitError](err); ok {
			err = errors.New(string(failed.Stderr))
		}
		t.Fatal(err)
	}
	all = map[string]goPackage{}
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all[p.ImportPath] = p
		if p.ImportPath == module || strings.HasPrefix(p.ImportPath, module+"/") {
			ours = append(ours, p)
		}
	}
	return all, ours
}

// within reports whether a path is one of some packages or below one.
func within(importPath string, packages []string) bool {
	return slices.ContainsFunc(packages, func(p string) bool {
		return importPath == p || strings.HasPrefix(importPath, strings.TrimSuffix(p, "/")+"/")
	})
}

func TestImportsRunOneWay(t *testing.T) {
	t.Parallel()
	all, ours := packages(t)
	if len(ours) != len(arrows) {
		t.Errorf("%d packages, but arrows are drawn for %d", len(ours), len(arrows))
	}
	for _, p := range ours {
		at := p.place()
		allowed, ok := arrows[at]
		if !ok {
			t.Errorf("no arrows are drawn for %s", at)
		}
		layer, _, _ := strings.Cut(at, "/")
		for _, i := range p.Imports {
			to, inside := strings.CutPrefix(i, module+"/")
			switch {
			case inside && !slices.Contains(allowed, to):
				t.Errorf("%s must not import %s", p.ImportPath, i)
			case inside:
			case within(i, foreign[layer]) && at == layer:
				t.Errorf("%s must not import %s", p.ImportPath, i)
			case layer == "domain" && (!all[i].Standard || within(i, notInDomain) && i != "math/rand/v2"):
				t.Errorf("%s must not import %s", p.ImportPath, i)
			}
		}
		if layer != "domain" {
			continue
		}
		for _, bad := range notBelow {
			if trail := trailTo(all, p.ImportPath, "", func(i string) bool { return within(i, []string{bad}) }); trail != nil {
				t.Errorf("the domain needs %s: %s", bad, strings.Join(trail, " → "))
			}
		}
	}
}

func TestNoTestingInTheBinary(t *testing.T) {
	t.Parallel()
	all, _ := packages(t)
	forTests := func(i string) bool {
		return within(i, []string{"testing", module + "/postgres/postgrestest", module + "/api/render/rendertest", "github.com/testcontainers/", "pgregory.net/rapid", "github.com/stretchr/testify", "github.com/chromedp/"})
	}
	if trail := trailTo(all, module, exempt, forTests); trail != nil {
		t.Errorf("the binary needs what is for tests: %s", strings.Join(trail, " → "))
	}
	if trailTo(all, module, "", forTests) == nil {
		t.Errorf("%s no longer needs to be exempt", exempt)
	}
}

// trailTo returns by which imports a package comes to need one that is looked for,
// not passing through the one that is left out; nil if it does not.
func trailTo(all map[string]goPackage, from, without string, found func(string) bool) []string {
	seen := map[string]bool{}
	var walk func(string) []string
	walk = func(p string) []string {
		if seen[p] || p == without {
			return nil
		}
		seen[p] = true
		if found(p) {
			return []string{p}
		}
		for _, i := range all[p].Imports {
			if trail := walk(i); trail != nil {
				return append([]string{p}, trail...)
			}
		}
		return nil
	}
	return walk(from)
}

// TestCallsInTheirPlace holds calls to where they belong: the clock and chance
// outside of the domain, the environment to the start of the program and to the
// tests' choice of a server, and the operator's ways into a co-operative to commands.
func TestCallsInTheirPlace(t *testing.T) {
	t.Parallel()
	clock := []string{"Now", "Since", "Until", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer", "Sleep", "Local", "LoadLocation"}
	environment := []string{"Getenv", "LookupEnv", "Environ", "ExpandEnv", "Setenv"}
	operators := []string{"Operate", "Inspect", "CreateCoop"}
	_, ours := packages(t)
	read := 0
	for _, p := range ours {
		at := p.place()
		inDomain := within(at, []string{"domain"})
		for _, name := range p.GoFiles {
			read++
			eachSelector(t, filepath.Join(p.Dir, name), func(where, of, what string) {
				ok := true
				switch {
				case of == "time" && slices.Contains(clock, what), of == "math/rand/v2" && !slices.Contains([]string{"New", "NewPCG", "Rand"}, what):
					ok = !inDomain
				case (of == "os" || of == "syscall") && slices.Contains(environment, what):
					ok = at == "" && name == "main.go" || at == "postgres/postgrestest" || at == "api/render/rendertest"
				case of == "" && slices.Contains(operators, what):
					ok = at == "" || at == "postgres"
				}
				if !ok {
					t.Errorf("%s, %s: %s does not belong there", p.ImportPath, where, strings.TrimPrefix(of+"."+what, "."))
				}
			})
		}
	}
	if read < 50 {
		t.Errorf("only %d files were read", read)
	}
}

// eachSelector calls found for each x.What of a file, with the path of the package
// if x is one, else with none.
func eachSelector(t *testing.T, file string, found func(where, of, what string)) {
	t.Helper()
	parsed, at := parse(t, file)
	names := map[string]string{}
	for _, i := range parsed.Imports {
		p, err := strconv.Unquote(i.Path.Value)
		if err != nil {
			t.Error(err)
		}
		name := path.Base(p)
		if strings.HasPrefix(name, "v") && strings.Trim(name[1:], "0123456789") == "" { // math/rand/v2
			name = path.Base(path.Dir(p))
		}
		if i.Name != nil {
			name = i.Name.Name
		}
		if name == "." && slices.Contains([]string{"time", "os", "syscall", "math/rand/v2"}, p) {
			t.Errorf("%s imports %s without its name", file, p)
		}
		names[name] = p
	}
	ast.Inspect(parsed, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			of := ""
			if x, ok := s.X.(*ast.Ident); ok {
				of = names[x.Name]
			}
			found(at(s), of, s.Sel.Name)
		}
		return true
	})
}

// parse reads a file, and says where something in it is.
func parse(t *testing.T, file string) (parsed *ast.File, at func(ast.Node) string) {
	t.Helper()
	files := token.NewFileSet()
	parsed, err := parser.ParseFile(files, file, nil, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	return parsed, func(n ast.Node) string {
		p := files.Position(n.Pos())
		return fmt.Sprintf("%s:%d", filepath.Base(p.Filename), p.Line)
	}
}

// TestDomainDoesOneThingAtATime: the domain starts nothing beside itself, so that its own
// tests need not be run with the race detector.
func TestDomainDoesOneThingAtATime(t *testing.T) {
	t.Parallel()
	_, ours := packages(t)
	read := 0
	for _, p := range ours {
		if !within(p.place(), []string{"domain"}) {
			continue
		}
		for _, name := range p.GoFiles {
			read++
			parsed, at := parse(t, filepath.Join(p.Dir, name))
			ast.Inspect(parsed, func(n ast.Node) bool {
				switch n.(type) {
				case *ast.GoStmt, *ast.ChanType, *ast.SelectStmt:
					t.Errorf("%s: the domain does one thing at a time", at(n))
				}
				return true
			})
		}
	}
	if read < 50 {
		t.Errorf("only %d files were read", read)
	}
}
