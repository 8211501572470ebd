package domain

import "slices"

// ReportDocument is a report as it is kept and read: the one value of which its hash is
// taken and from which everything else is drawn. It is the only type here that says how it
// is written, since that must never change; decimals are texts, by [Canonical]. What was
// frozen when it was issued is the frame; all else follows from the journal.
type ReportDocument struct {
	ReportFrame
	Figures []ReportFigure `json:"figures"`
	Sums    []ReportSum    `json:"sums"`
	Sites   []ReportSite   `json:"sites"`
	Money   ReportMoney    `json:"money"`
	Gaps    []string       `json:"gaps"` // what is missing, in words
}

// SumsOf returns the document with the sums that another one has, as one of an earlier
// version of this program may have fewer.
func (d ReportDocument) SumsOf(other ReportDocument) ReportDocument {
	has := map[string]bool{}
	for _, s := range other.Sums {
		has[s.Name] = true
	}
	sites := make([]ReportSite, len(d.Sites))
	for i, s := range d.Sites {
		sums := []ReportSiteSum{}
		for _, sum := range s.Sums {
			if has[sum.Name] {
				sums = append(sums, sum)
			}
		}
		s.Sums = sums
		sites[i] = s
	}
	d.Sites = sites
	d.Sums = slices.DeleteFunc(slices.Clone(d.Sums), func(s ReportSum) bool { return !has[s.Name] })
	return d
}

// ReportFrame is what of a report does not follow from the journal.
type ReportFrame struct {
	Format      string             `json:"format"`
	ID          ReportID           `json:"id"`
	Title       string             `json:"title"`
	Language    string             `json:"language"`
	Coop        ReportCoop         `json:"cooperative"`
	Grant       ReportGrant        `json:"grant"`
	From        Date               `json:"from"`
	To          Date               `json:"to"`
	KnownAt     string             `json:"known_at"`
	Texts       []ReportWords      `json:"texts"`
	Definitions []ReportDefinition `json:"definitions"`
	Factors     []ReportFactor     `json:"factors"`
	Cautions    []string           `json:"cautions"`
	Restates    *ReportRestates    `json:"restates,omitempty"`
	Seal        *ReportSeal        `json:"seal,omitempty"`
}

// ReportFormat names the form of the document. Another form gets another name.
const ReportFormat = "shoalbook-report/1"

// ReportCoop says who reports.
type ReportCoop struct {
	Name     string   `json:"name"`
	Country  string   `json:"country"`
	Currency Currency `json:"currency"`
}

// ReportGrant is the grant as it was when the report was issued.
type ReportGrant struct {
	ID          GrantID         `json:"id"`
	Version     int64           `json:"version"`
	Title       string          `json:"title"`
	Funder      string          `json:"funder"`
	From        Date            `json:"from"`
	To          Date            `json:"to"`
	Currency    Currency        `json:"currency"`
	Activity    string          `json:"iati_activity,omitempty"`
	Reporter    string          `json:"iati_reporter,omitempty"`
	Sectors     []ReportSector  `json:"iati_sectors,omitempty"`
	PortionG    string          `json:"portion_g"`
	PortionForm string          `json:"portion_form"`
	FlagPercent string          `json:"flag_percent"`
	Lines       []ReportLine    `json:"lines"`
	Rates       []ReportRate    `json:"rates"`
	Others      []ReportOther   `json:"other_funds"`
	Measures    []ReportMeasure `json:"indicators"`
	Sites       []ReportCovered `json:"sites"`
	Charged     []ReportCharge  `json:"charged"`
}

// ReportSector is what a part of the money is for.
type ReportSector struct {
	Code    string `json:"code"`
	Percent string `json:"percent"`
}

// ReportLine is a line of the budget.
type ReportLine struct {
	Code   string `json:"code"`
	Title  string `json:"title"`
	Amount string `json:"amount"`
}

// ReportRate is a rate of exchange with its source.
type ReportRate struct {
	From   Date   `json:"from"`
	Rate   string `json:"rate"`
	Source string `json:"source"`
}

// ReportOther is what others gave.
type ReportOther struct {
	Source string `json:"source"`
	Kind   string `json:"kind"`
	Amount string `json:"amount"`
}

// ReportMeasure is what was promised of an indicator.
type ReportMeasure struct {
	Code       string         `json:"code"`
	Baseline   *string        `json:"baseline,omitempty"`
	BaselineOn *Date          `json:"baseline_on,omitempty"`
	Targets    []ReportTarget `json:"targets"`
}

// ReportTarget is what was to be reached in a period.
type ReportTarget struct {
	From  Date   `json:"from"`
	To    Date   `json:"to"`
	Value string `json:"value"`
}

// ReportCovered is a site that the grant covers.
type ReportCovered struct {
	ID           SiteID `json:"id"`
	Name         string `json:"name"`
	SupportUntil *Date  `json:"support_until,omitempty"`
}

// ReportCharge is what is charged to a line: an entry or equipment, or a part of it.
type ReportCharge struct {
	Line      string       `json:"line"`
	Entry     *EntryID     `json:"entry_id,omitempty"`
	Equipment *EquipmentID `json:"equipment_id,omitempty"`
	Percent   string       `json:"percent"`
}

// ReportWords are the coordinator's own.
type ReportWords struct {
	Kind    string `json:"kind"`
	Heading string `json:"heading"`
	Text    string `json:"text"`
}

// ReportDefinition is the version of an indicator that the report goes by.
type ReportDefinition struct {
	Code           string   `json:"code"`
	Version        int64    `json:"version"`
	Title          string   `json:"title"`
	Definition     string   `json:"definition"`
	Unit           string   `json:"unit"`
	Formula        string   `json:"formula"`
	Measure        string   `json:"measure"`
	Direction      string   `json:"direction"`
	Result         string   `json:"result"`
	Disaggregation []string `json:"disaggregation"`
	Source         string   `json:"source"`
	Limits         string   `json:"limits"`
}

// ReportFactor is a factor that figures go by.
type ReportFactor struct {
	Species string `json:"species"`
	Form    string `json:"form"`
	Yield   string `json:"yield_percent"`
	Protein string `json:"protein_g_100g"`
	Source  string `json:"source"`
}

// ReportFigure is an indicator in the period, with all that it follows from.
type ReportFigure struct {
	Code        string       `json:"code"`
	Value       *string      `json:"value"`
	Unit        string       `json:"unit"`
	Reason      string       `json:"reason,omitempty"` // why there is no value
	Numerator   *ReportPart  `json:"numerator,omitempty"`
	Denominator *ReportPart  `json:"denominator,omitempty"`
	Additive    bool         `json:"additive"`
	Estimated   bool         `json:"estimated"`
	SitesTold   int64        `json:"sites_with_data"`
	SitesAll    int64        `json:"sites"`
	Parts       []ReportPart `json:"parts,omitempty"` // by sex
	Baseline    *string      `json:"baseline,omitempty"`
	Target      *string      `json:"target,omitempty"`
	Achieved    *string      `json:"achieved_percent,omitempty"` // of the planned change
	Entries     string       `json:"entries"`                    // where to read what is behind it
	Kinds       []string     `json:"kinds"`
	Facts       bool         `json:"registry"` // the registry is behind it as well
}

// ReportPart is a part of a figure: what is above or below the line, or one sex.
type ReportPart struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	Unit  string `json:"unit"`
}

// ReportSum is one of the sums that figures are worked out of.
type ReportSum struct {
	Name  string  `json:"name"`
	Title string  `json:"title"`
	Unit  string  `json:"unit"`
	Value *string `json:"value"` // null: nobody recorded any of it
}

// ReportSite has the sums of one site; those that are 0 or not known are left out.
type ReportSite struct {
	ID       SiteID          `json:"id"`
	Recorded bool            `json:"recorded"`
	LastOn   *Date           `json:"last_entry_on,omitempty"`
	Sums     []ReportSiteSum `json:"sums"`
}

// ReportSiteSum is a sum of one site.
type ReportSiteSum struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// ReportMoney is the budget of the grant against what was spent.
type ReportMoney struct {
	Currency Currency      `json:"currency"`
	Elapsed  string        `json:"elapsed_percent"`
	Rows     []ReportRow   `json:"lines"`
	Total    ReportRow     `json:"total"`
	Spent    []ReportSpent `json:"spent"`
}

// ReportRow is a line of the budget; percentages are missing where there is none.
type ReportRow struct {
	Code            string  `json:"code"`
	Title           string  `json:"title"`
	Budget          string  `json:"budget"`
	InPeriod        string  `json:"in_period"`
	ToDate          string  `json:"to_date"`
	Variance        string  `json:"variance"`
	VariancePercent *string `json:"variance_percent,omitempty"`
	Burn            *string `json:"spent_percent,omitempty"`
	AgainstTime     *string `json:"against_time_percent,omitempty"`
	Flagged         bool    `json:"flagged"`
}

// ReportSpent is one cost that was charged, as it stands.
type ReportSpent struct {
	Line   string `json:"line"`
	What   string `json:"what"`
	ID     string `json:"id"`
	On     Date   `json:"on"`
	Amount string `json:"amount"`
}

// ReportRestates says which report is restated, why, and what made the difference.
type ReportRestates struct {
	ID      ReportID       `json:"id"`
	SHA256  string         `json:"sha256"`
	KnownAt string         `json:"known_at"`
	Reason  string         `json:"reason"`
	Changes []ReportChange `json:"changes"`
}

// ReportChange is a figure that is another one now, with the entries since the report
// before that are behind it.
type ReportChange struct {
	Code    string        `json:"code"`
	Was     *string       `json:"was"`
	Now     *string       `json:"now"`
	Entries []ReportEntry `json:"entries"`
	Facts   []ReportFact  `json:"registry"`
}

// ReportEntry is an entry that came, or was reversed, since the report before.
type ReportEntry struct {
	ID         EntryID  `json:"id"`
	Kind       string   `json:"kind"`
	Site       SiteID   `json:"site_id"`
	On         Date     `json:"occurred_on"`
	What       string   `json:"what"` // recorded, reversed
	RecordedAt string   `json:"recorded_at"`
	By         *EntryID `json:"reversed_by,omitempty"`
}

// ReportFact is a thing of the registry that was changed since the report before.
type ReportFact struct {
	Noun       string `json:"noun"`
	ID         string `json:"id"`
	RecordedAt string `json:"recorded_at"`
}

// ReportSeal is the seal of the books that was made when the report was issued.
type ReportSeal struct {
	Number int64  `json:"number"`
	Root   string `json:"root"`
	Hash   string `json:"hash"` // of it and of all seals before
}
