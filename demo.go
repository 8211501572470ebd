package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"syscall"
	"time"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
	"shoalbook/postgres/throwaway"
)

type demo struct {
	Sites   int    `default:"24" placeholder:"N" help:"How many schools the co-operative has: 1 to 500."`
	Seasons int    `default:"2" placeholder:"N" help:"How many seasons they have kept fish, the last one under way: 1 to 10."`
	Seed    uint64 `default:"1" placeholder:"N" help:"Another number makes another co-operative."`
	Data    string `placeholder:"FOLDER" help:"Keep the data there, and go on with them the next time; by default they are gone at the end."`
	JSON    bool   `name:"json" help:"Print the address and the tokens as one line of JSON, and nothing else."`
}

// Run serves an invented co-operative until the context ends. It lives in the
// database of DATABASE_URL, if that was given, else in one that is started for it.
func (d demo) Run(ctx context.Context, s *Settings, out io.Writer, log *slog.Logger, say messages) (err error) {
	if err := d.check(s); err != nil {
		return err
	}
	if s.origin("log-level") == isDefault { // a line for each request would drown the words
		s.LogLevel = "warn"
		if s.origin("log-format") == isDefault {
			s.LogFormat = "text"
		}
		if log, err = s.logger(say); err != nil {
			return err
		}
	}
	listener, err := d.listen(s, say)
	if err != nil {
		return err
	}
	defer listener.Close()
	url, own := s.DatabaseURL, s.origin("database-url") == isDefault
	if own {
		server, err := throwaway.Start(ctx, throwaway.Options{Dir: d.Data, Durable: true, BinDir: s.PgBin, Progress: say.line})
		if err != nil {
			return interrupted(ctx, err)
		}
		defer func() { err = errors.Join(err, server.Stop()) }()
		url = server.URL("postgres")
	}
	coop := d.simulate()
	store, filled, err := d.open(ctx, s, url, own, coop)
	if err != nil {
		return interrupted(ctx, err)
	}
	defer store.Close()
	if warning, err := store.Check(ctx); err != nil {
		return interrupted(ctx, err)
	} else if warning != "" && !own { // nobody else gets at one of its own
		log.WarnContext(ctx, warning)
	}
	show, err := d.prepare(ctx, store, url, coop, filled, say)
	if err != nil {
		return interrupted(ctx, err)
	}
	show.url, show.kept = "http://"+reachable(listener.Addr()), d.kept(own)
	if err := d.print(out, show); err != nil {
		return err
	}
	err = serveStore(ctx, s, log, store, listener)
	say.line("the demo has ended: " + show.kept)
	return err
}

func (d demo) check(s *Settings) error {
	switch {
	case d.Sites < 1 || d.Sites > 500:
		return fmt.Errorf("--sites=%d: a demo has 1 to 500 schools", d.Sites)
	case d.Seasons < 1 || d.Seasons > 10:
		return fmt.Errorf("--seasons=%d: a demo has 1 to 10 seasons", d.Seasons)
	case d.Data != "" && s.origin("database-url") != isDefault:
		return errors.New("--data is for a database that the demo starts itself, but DATABASE_URL names another one: leave out one of them")
	}
	return nil
}

// listen takes the address of the settings. Where another program is, it takes
// another port, unless the address is from the environment: somebody relies on that.
func (d demo) listen(s *Settings, say messages) (net.Listener, error) {
	listener, err := net.Listen("tcp", s.Listen)
	if !errors.Is(err, syscall.EADDRINUSE) || s.origin("listen") == fromVariable {
		return listener, err
	}
	host, _, err := net.SplitHostPort(s.Listen)
	if err != nil {
		return nil, err
	}
	if listener, err = net.Listen("tcp", net.JoinHostPort(host, "0")); err == nil {
		say.line("another program is at " + s.Listen + ": the demo takes " + listener.Addr().String())
	}
	return listener, err
}

// reachable returns where a client on this machine finds an address.
func reachable(address net.Addr) string {
	tcp, ok := address.(*net.TCPAddr)
	if ok && tcp.IP.IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", fmt.Sprint(tcp.Port))
	}
	return address.String()
}

// simulate makes up the co-operative. Its id depends on the seed alone.
func (d demo) simulate() *simulate.Coop {
	zone, err := time.LoadLocation(simulate.Zone)
	if err != nil {
		panic(err) // the program brings the zones along
	}
	return simulate.New(simulate.Options{Seed: d.Seed, Sites: d.Sites, Seasons: d.Seasons, Today: domain.DateOf(time.Now(), zone)})
}

// open opens a database that is empty or holds this demo, filled already or not, and
// brings the latest schema and the co-operative into it. What an interrupted start has
// left in a database of its own it throws away.
func (d demo) open(ctx context.Context, s *Settings, url string, own bool, coop *simulate.Coop) (store *postgres.Store, filled bool, err error) {
	id := coop.Facts.ID
	found, err := postgres.AllCoops(ctx, url)
	if err != nil {
		return nil, false, err
	}
	for _, other := range found {
		if other != id {
			return nil, false, fmt.Errorf("the database holds the co-operative %s, which is not the demo of --seed=%d: nothing was changed, use an empty database", other, d.Seed)
		}
	}
	if err := postgres.MigrateUp(ctx, url); err != nil {
		return nil, false, err
	}
	if store, err = postgres.Open(ctx, postgres.Options{URL: url, MaxConns: s.DatabaseConns}); err != nil {
		return nil, false, err
	}
	if len(found) == 0 {
		_, err = store.CreateCoop(ctx, coop.Facts)
	} else if filled, err = isFilled(ctx, store, id); err == nil && !filled && !own {
		err = errors.New("the database holds a demo that is being filled, or was interrupted at that: in the second case, run migrate down --delete-all-data and start the demo again")
	}
	if err != nil {
		store.Close()
		return nil, false, err
	}
	if len(found) == 0 || filled {
		return store, filled, nil
	}
	store.Close()
	if err := postgres.MigrateDown(ctx, url); err != nil {
		return nil, false, err
	}
	return d.open(ctx, s, url, own, coop)
}

// prepare makes tokens, fills the database unless that was done before, and reads
// what to show. Only hashes of tokens are kept, so that each start makes new ones;
// those of before go on to hold.
func (d demo) prepare(ctx context.Context, store *postgres.Store, url string, coop *simulate.Coop, filled bool, say messages) (*showing, error) {
	token := func(name string, role domain.Role, sites ...domain.SiteID) (domain.Token, error) {
		const days = 30
		return makeToken(ctx, store, coop.Facts.ID, domain.TokenFacts{Name: name, Role: role, Sites: sites}, days)
	}
	coordinator, err := token("Demo coordinator", domain.Coordinator)
	if err != nil {
		return nil, err
	}
	cred := postgres.Credential{Coop: coop.Facts.ID, TokenHash: coordinator.Hash(), Roles: []domain.Role{domain.Coordinator}}
	if filled {
		say.line("going on with the co-operative that is there")
	} else if err := fill(ctx, store, url, cred, coop, say); err != nil {
		return nil, err
	}
	show, err := look(ctx, store, cred)
	if err != nil {
		return nil, err
	}
	show.coordinator = coordinator
	if show.keeper, err = token("Demo keeper", domain.Keeper, show.keeps); err != nil {
		return nil, err
	}
	show.funder, err = token(demoFunder, domain.Funder)
	return show, err
}

func (d demo) kept(own bool) string {
	switch {
	case !own:
		return "the data stay in the database"
	case d.Data != "":
		return "the data stay in " + d.Data
	}
	return "nothing is kept, as it was started without --data"
}

// print prints what is needed to use the demo.
func (d demo) print(out io.Writer, show *showing) error {
	if !d.JSON {
		_, err := io.WriteString(out, show.text())
		return err
	}
	type tokens struct {
		Coordinator string `json:"coordinator"`
		Keeper      string `json:"keeper"`
		Funder      string `json:"funder"`
	}
	return json.NewEncoder(out).Encode(struct {
		URL    string `json:"url"`
		Tokens tokens `json:"tokens"`
	}{show.url, tokens{show.coordinator.Text(), show.keeper.Text(), show.funder.Text()}})
}

// interrupted says so, where that is what made something fail.
func interrupted(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return errors.New("interrupted before the demo was ready")
	}
	return err
}
