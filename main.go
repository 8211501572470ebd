// Command shoalbook serves the books of co-operatives of small fish farms, and
// has the commands to set them up and look after them.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	err := run(ctx, os.Getenv, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	if err == nil {
		return
	}
	fmt.Fprintln(os.Stderr, "shoalbook:", err)
	if _, usage := errors.AsType[*kong.ParseError](err); usage {
		fmt.Fprintln(os.Stderr, "shoalbook: --help says what there is")
		os.Exit(2)
	}
	os.Exit(1)
}

// Settings are all that the program is told from outside: each by a flag or by
// the environment variable in its tag, each with a default that is safe.
type Settings struct {
	DatabaseURL   string        `setting:"DATABASE_URL" default:"postgres:///shoalbook" placeholder:"URL" help:"Address of the database."`
	DatabaseConns int32         `setting:"DATABASE_CONNS" default:"16" placeholder:"N" help:"Connections to the database at most."`
	Listen        string        `setting:"LISTEN" default:"127.0.0.1:8080" placeholder:"ADDRESS" help:"Where to take requests. TLS is for a proxy in front."`
	Metrics       bool          `setting:"METRICS" default:"true" negatable:"" help:"Serve /metrics to everyone who can reach the service."`
	RatePerToken  int           `setting:"RATE_PER_TOKEN" default:"600" placeholder:"N" help:"Requests a minute with one token, on this instance; 0 is any number."`
	RatePerCoop   int           `setting:"RATE_PER_COOP" default:"6000" placeholder:"N" help:"Requests a minute of one co-operative, on this instance; 0 is any number."`
	CORSOrigins   string        `setting:"CORS_ORIGINS" name:"cors-origins" default:"" placeholder:"ORIGINS" help:"Origins of web pages that may ask from a browser, between commas; by default none."`
	Proxies       string        `setting:"TRUSTED_PROXIES" name:"trusted-proxies" default:"" placeholder:"ADDRESSES" help:"Addresses or ranges of proxies in front, between commas, whose X-Forwarded-For says who asks; by default none."`
	SealEvery     time.Duration `setting:"SEAL_EVERY" default:"1h" placeholder:"TIME" help:"How often what was recorded is sealed, such as 1h or 10m; 0 is never but for reports."`
	LogLevel      string        `setting:"LOG_LEVEL" default:"info" enum:"debug,info,warn,error" placeholder:"LEVEL" help:"What to log: debug, info, warn or error."`
	LogFormat     string        `setting:"LOG_FORMAT" default:"json" enum:"json,text" placeholder:"FORMAT" help:"How to log: json or text."`
	PgBin         string        `setting:"PG_BIN" default:"" placeholder:"FOLDER" help:"Where the programs of PostgreSQL are, for the demo; if left out, it finds those that are installed or else downloads some."`

	origins map[string]origin
}

// origin says where a setting comes from.
type origin int

const (
	isDefault origin = iota
	fromVariable
	fromFlag
)

// origin returns where the setting with the name of a flag comes from.
func (s *Settings) origin(flag string) origin { return s.origins[flag] }

// program is the command line.
type program struct {
	Settings `embed:""`

	Serve   serve `cmd:"" help:"Take requests until told to end."`
	Demo    demo  `cmd:"" help:"Take requests about an invented co-operative, in a database of its own or an empty one."`
	Migrate struct {
		Up     migrateUp     `cmd:"" help:"Bring the schema to the latest version."`
		Down   migrateDown   `cmd:"" help:"Take the schema away, and all data with it."`
		Status migrateStatus `cmd:"" help:"Say which version the schema is at."`
		Force  migrateForce  `cmd:"" help:"Record a version without running anything, after a migration that failed."`
	} `cmd:"" help:"Look after the schema of the database, as the owner of its tables."`
	Coop struct {
		Create coopCreate `cmd:"" help:"Add a co-operative and print its id."`
	} `cmd:"" help:"Look after co-operatives."`
	Token struct {
		Create tokenCreate `cmd:"" help:"Make a token and print it, this once."`
	} `cmd:"" help:"Look after the tokens of a co-operative."`
	Verify      verifyCoops  `cmd:"" help:"Rebuild every figure that is kept from the journal, hold the journal against its seals, and report each difference."`
	CheckReport checkReport  `cmd:"" help:"Check a report that was downloaded, against seals and records if they are at hand; it needs no database."`
	Seals       sealCommands `cmd:"" help:"Look after the seals of a co-operative: what was recorded, fixed by hashes."`
}

// run is the program, with all that it takes from outside as arguments.
func run(ctx context.Context, getenv func(string) string, args []string, out, errOut io.Writer) (err error) {
	defer func() {
		if v := recover(); v != nil {
			if _, ok := v.(helpShown); !ok {
				panic(v)
			}
		}
	}()
	var p program
	parser, err := kong.New(&p,
		kong.Name("shoalbook"),
		kong.Description("The books of a co-operative of small fish farms, as a REST API on PostgreSQL."),
		kong.Writers(out, errOut),
		kong.Exit(func(int) { panic(helpShown{}) }),
		kong.Resolvers(fromEnvironment(getenv)),
		kong.ValueFormatter(helpOf),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
	)
	if err != nil {
		return err
	}
	command, err := parser.Parse(args)
	if err != nil {
		return err
	}
	p.origins = originsOf(command)
	log, err := p.logger(errOut)
	if err != nil {
		return err
	}
	command.BindTo(ctx, (*context.Context)(nil))
	command.BindTo(out, (*io.Writer)(nil))
	return command.Run(&p.Settings, log, messages{errOut})
}

// originsOf says where the settings of a command line come from that are not left at
// their defaults.
func originsOf(command *kong.Context) map[string]origin {
	origins := map[string]origin{}
	for _, p := range command.Path {
		switch {
		case p.Flag == nil:
		case p.Resolved:
			origins[p.Flag.Name] = fromVariable
		default:
			origins[p.Flag.Name] = fromFlag
		}
	}
	return origins
}

// helpShown ends run after --help, where the library would end the process.
type helpShown struct{}

// fromEnvironment looks up what no flag gives. The library's own way would read
// the environment of the process, behind the back of run.
func fromEnvironment(getenv func(string) string) kong.Resolver {
	return kong.ResolverFunc(func(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
		if name := flag.Tag.Get("setting"); name != "" {
			if value := getenv(name); value != "" {
				return value, nil
			}
		}
		return nil, nil
	})
}

// helpOf adds to the help of a flag its default, and the variable of a setting.
func helpOf(value *kong.Value) string {
	var notes []string
	if name := value.Tag.Get("setting"); name != "" {
		notes = append(notes, "$"+name)
	}
	if value.Default != "" {
		notes = append(notes, "default "+value.Default)
	}
	if notes == nil {
		return value.Help
	}
	return value.Help + " [" + strings.Join(notes, ", ") + "]"
}

func (s *Settings) logger(w io.Writer) (*slog.Logger, error) {
	var level slog.Level
	if err := level.UnmarshalText([]byte(s.LogLevel)); err != nil {
		return nil, err
	}
	options := &slog.HandlerOptions{Level: level}
	if s.LogFormat == "text" {
		return slog.New(slog.NewTextHandler(w, options)), nil
	}
	return slog.New(slog.NewJSONHandler(w, options)), nil
}
