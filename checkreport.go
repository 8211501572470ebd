package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"shoalbook/domain"
)

type checkReport struct {
	Report  string `arg:"" help:"The report as JSON, as it was downloaded."`
	SHA256  string `name:"sha256" placeholder:"HASH" help:"The hash that was printed on the report, or that somebody else has of it."`
	Seals   string `placeholder:"FILE" help:"Seals of the co-operative, as /v1/seals answers or 'seals print' prints."`
	Records string `placeholder:"FILE" help:"What the seals are over, as 'seals records' prints."`
}

// Run says what can be told of a report without a database, and fails if anything is
// wrong: the report is as it was issued; its seal is in the chain; and what the seals
// are over is what was recorded.
func (c checkReport) Run(out io.Writer) error {
	report, err := readReport(c.Report)
	if err != nil {
		return err
	}
	wrong := report.compare(c.SHA256)
	said := fmt.Sprintf("the report has the SHA-256 %s", report.sum)
	if report.Seal != nil {
		said += fmt.Sprintf(", and names seal %d with the hash %s", report.Seal.Number, report.Seal.Hash)
	}
	if c.SHA256 == "" {
		said += "\n" + unheld
	}
	if _, err := fmt.Fprintln(out, said); err != nil {
		return err
	}
	if c.Seals != "" {
		seals, err := readSeals(c.Seals)
		if err != nil {
			return err
		}
		found, err := report.checkSeals(seals, c.Records)
		if err != nil {
			return err
		}
		wrong = append(wrong, found...)
	} else if c.Records != "" {
		return errors.New("--records needs --seals: the records are held against them")
	}
	for _, w := range wrong {
		if _, err := fmt.Fprintln(out, w); err != nil {
			return err
		}
	}
	if len(wrong) > 0 {
		return errors.New("the report, or what it rests on, is not as it was")
	}
	return nil
}

// unheld is what seals cannot tell: they are over what was recorded, and not over a copy of
// the report that somebody has changed.
const unheld = "whether a figure of this copy was changed is not told by that: it was not if the SHA-256 is the one that is printed on the report or that whoever issued it has; give it with --sha256"

// downloaded is of a report what can be checked by whoever has it.
type downloaded struct {
	Seal *struct {
		Number int64       `json:"number"`
		Root   domain.Hash `json:"root"`
		Hash   domain.Hash `json:"hash"`
	} `json:"seal"`

	canonical bool
	sum       domain.Hash
}

func readReport(file string) (*downloaded, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	canonical, err := domain.Canonical(text)
	if err != nil {
		return nil, fmt.Errorf("%s holds no report: %w", file, err)
	}
	d := &downloaded{canonical: bytes.Equal(text, canonical), sum: sha256.Sum256(text)}
	if err := json.Unmarshal(text, d); err != nil {
		return nil, fmt.Errorf("%s holds no report: %w", file, err)
	}
	return d, nil
}

// compare holds the report against its form and against the hash that somebody has.
func (d *downloaded) compare(hash string) (wrong []string) {
	if !d.canonical {
		wrong = append(wrong, "the report is not written as it was issued (canonical JSON): it was changed, or written anew by another program")
	}
	if hash != "" && hash != d.sum.String() {
		wrong = append(wrong, fmt.Sprintf("the report is another one than that with the hash %s", hash))
	}
	return wrong
}

// checkSeals holds the report against seals, and those up to its own against records, if
// there is a file of these.
func (d *downloaded) checkSeals(seals []domain.Seal, records string) ([]string, error) {
	if d.Seal == nil {
		return []string{"the report names no seal"}, nil
	}
	i := slices.IndexFunc(seals, func(s domain.Seal) bool { return s.Number == d.Seal.Number })
	if i < 0 {
		return []string{fmt.Sprintf("seal %d of the report is not among the seals", d.Seal.Number)}, nil
	}
	if seals[i].Root != d.Seal.Root || seals[i].Hash != d.Seal.Hash {
		return []string{fmt.Sprintf("seal %d has the hash %s and the root %s, in the report they are %s and %s: what was recorded before the report was issued is not the same any more",
			d.Seal.Number, seals[i].Hash, seals[i].Root, d.Seal.Hash, d.Seal.Root)}, nil
	}
	if records == "" {
		return domain.CheckChain(seals), nil
	}
	return checkRecords(seals, records)
}
