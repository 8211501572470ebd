package postgres_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"shoalbook/postgres/postgrestest"
)

// overTheWall are the statements that are not bound to the sites of the token, and why.
var overTheWall = map[string]string{
	"select id from entry where coop_id = $1 and id = any($2)":          "an id that is in use at any site cannot be used again",
	"select id from site where coop_id = $1 and id = any($2)":           "something may be sent to any site",
	"update token set last_used_on = $3 where coop_id = $1 and id = $2": "it is the program's own, of the token that was shown",
}

// Every statement of this package binds every table of a site to the sites of the
// token, with own_site.
func TestStatementsBindSites(t *testing.T) {
	t.Parallel()
	columns := siteColumns(t)
	unused := map[string]bool{}
	for sql := range overTheWall {
		unused[sql] = true
	}
	tables := 0
	for at, sql := range statements(t) {
		if delete(unused, sql); overTheWall[sql] != "" {
			continue
		}
		if listed.MatchString(sql) {
			t.Errorf("%s: name tables with join, so that this test sees them:\n%s", at, sql)
		}
		for _, lack := range unbound(sql, columns) {
			t.Errorf("%s: nothing keeps this to the sites of the token, add %s:\n%s", at, lack, sql)
		}
		if without := strings.ReplaceAll(sql, "own_site(", "("); without != sql && unbound(without, columns) == nil {
			t.Errorf("%s: it would not be missed in\n%s", at, sql)
		}
		for _, f := range tableIn.FindAllStringSubmatch(sql, -1) {
			if columns[f[2]] != nil {
				tables++
			}
		}
	}
	t.Logf("a table of a site is named %d times", tables)
	if tables < 100 {
		t.Error("too few statements were found")
	}
	for sql := range unused {
		t.Errorf("there is no statement %q", sql)
	}
}

// siteColumns says by which columns the tables of sites are bound to them; null where
// rows are for tokens of all sites alone.
func siteColumns(t *testing.T) map[string][]string {
	t.Helper()
	conn := owner(t, postgrestest.New(t).URL)
	columns := map[string][]string{"site": {"id"}, "member": {"null"}, "token": {"null"},
		"quote": {"null"}, "round_plan": {"null"}, "order_version": {"null"}, "order_deposit": {"null"},
		"indicator": {"null"}, "funding": {"null"}, "grant_cost": {"null"}, "report": {"null"}, "report_copy": {"null"}, "report_link": {"null"}}
	for _, table := range column[string](t, conn, tenantTables) {
		names := column[string](t, conn, `
			select attname::text from pg_attribute where attrelid = $1::text::regclass and attname like '%site_id' order by attnum`, table)
		if len(names) > 0 {
			columns[table] = names
		}
	}
	return columns
}

var (
	tableIn  = regexp.MustCompile(`\b(from|join|update|into) ([\w…]+)(?: (?:as )?(\w+))?`)
	listed   = regexp.MustCompile(`\b(?:from|join) \w+(?: \w+)?, \w`)
	equalTo  = regexp.MustCompile(`([\w.…]+) = (\$\d+|\w+\.\w+)`)
	verbs    = regexp.MustCompile(`%(\[\d+\])?[sd]`)
	keywords = strings.Fields("where on set order group limit cross left inner join for union values select using returning")
)

// unbound returns the conditions that a statement lacks: one for each time it names a
// table of a site. A consignment is seen from each of its two sites. What is equal to
// something that is bound is bound as well, and costs nothing.
func unbound(sql string, columns map[string][]string) (lacking []string) {
	used := map[string]int{}
	take := func(condition string) bool {
		if strings.Count(sql, condition) > used[condition] {
			used[condition]++
			return true
		}
		return false
	}
	found := tableIn.FindAllStringSubmatch(sql, -1)
tables:
	for _, f := range found {
		verb, table, row := f[1], f[2], f[3]
		bound := columns[table]
		if strings.Contains(table, "…") {
			bound = []string{"site_id", "…"}
		}
		if bound == nil || verb == "into" && strings.Contains(sql, "own_site(") {
			continue
		}
		if row == "" || slices.Contains(keywords, row) {
			row = table
		}
		var conditions []string
		for _, c := range bound {
			names := []string{row + "." + c}
			if c == "null" || row == table || len(found) == 1 {
				names = append(names, c)
			}
			for _, name := range names {
				conditions = append(conditions, "own_site("+name+")", name+" is null")
			}
			for _, f := range equalTo.FindAllStringSubmatch(sql, -1) {
				if slices.Contains(names, f[1]) && strings.Contains(sql, "own_site("+f[2]+")") {
					continue tables
				}
			}
		}
		if !slices.ContainsFunc(append(conditions, "own_site()"), take) {
			lacking = append(lacking, conditions[0])
		}
	}
	return lacking
}

// statements returns the texts in the package that name tables, by where they are,
// with one space for each white space.
func statements(t *testing.T) map[string]string {
	t.Helper()
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	set := token.NewFileSet()
	var files []*ast.File
	constants := map[string]ast.Expr{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(set, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, file)
		for _, d := range file.Decls {
			if d, ok := d.(*ast.GenDecl); ok && d.Tok == token.CONST {
				for _, s := range d.Specs {
					if s := s.(*ast.ValueSpec); len(s.Values) > 0 {
						constants[s.Names[0].Name] = s.Values[0]
					}
				}
			}
		}
	}
	found := map[string]string{}
	for _, file := range files {
		ast.Inspect(file, func(n ast.Node) bool {
			e, ok := n.(ast.Expr)
			if !ok {
				return true
			}
			text, ok := written(e, constants)
			if !ok {
				return true
			}
			if text = strings.Join(strings.Fields(text), " "); tableIn.MatchString(text) {
				found[set.Position(e.Pos()).String()] = text
			}
			return false
		})
	}
	return found
}

// written returns what is written in the source of a text that is a literal, a format
// or added up from some; what is only known when the program runs is a …, unless it is
// called own…, which is the condition.
func written(e ast.Expr, constants map[string]ast.Expr) (text string, ok bool) {
	switch e := e.(type) {
	case *ast.BasicLit:
		if e.Kind != token.STRING {
			return "", false
		}
		text, err := strconv.Unquote(e.Value)
		return text, err == nil
	case *ast.BinaryExpr:
		if e.Op != token.ADD {
			return "", false
		}
		for _, part := range []ast.Expr{e.X, e.Y} {
			if id, is := part.(*ast.Ident); is && constants[id.Name] != nil {
				part = constants[id.Name]
			}
			said, is := written(part, constants)
			switch id, named := part.(*ast.Ident); {
			case named && strings.HasPrefix(id.Name, "own"):
				said = "own_site()"
			case !is:
				said = "…"
			}
			text, ok = text+said, ok || is
		}
		return text, ok
	case *ast.CallExpr:
		if f, is := e.Fun.(*ast.SelectorExpr); !is || f.Sel.Name != "Sprintf" {
			return "", false
		}
		text, ok = written(e.Args[0], constants)
		text = verbs.ReplaceAllString(text, "…")
		for _, a := range e.Args[1:] {
			ast.Inspect(a, func(n ast.Node) bool {
				if id, is := n.(*ast.Ident); is && strings.HasPrefix(id.Name, "own") {
					text += " own_site()"
				}
				return true
			})
		}
		return text, ok
	}
	return "", false
}
