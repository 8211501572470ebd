package api

import (
	"fmt"
	"slices"

	"shoalbook/domain"
)

// Who may ask for what, by the role of the token; the sites of the token narrow it
// further. These tables are the rule. The contract says the same in x-roles, or else
// it is not served: see [checkRoles].
var (
	coordinators = []domain.Role{domain.Coordinator}
	overseers    = []domain.Role{domain.Coordinator, domain.Auditor}
	offices      = []domain.Role{domain.Coordinator, domain.Adviser, domain.Treasurer, domain.Auditor}
	readers      = []domain.Role{domain.Coordinator, domain.Adviser, domain.Keeper, domain.Treasurer, domain.Auditor}
	stockers     = []domain.Role{domain.Coordinator, domain.Keeper}
	treasurers   = []domain.Role{domain.Coordinator, domain.Treasurer}
	bookkeepers  = []domain.Role{domain.Coordinator, domain.Keeper, domain.Treasurer}
	visitors     = []domain.Role{domain.Coordinator, domain.Adviser}
	answerers    = []domain.Role{domain.Coordinator, domain.Adviser, domain.Keeper}
	audience     = []domain.Role{domain.Coordinator, domain.Adviser, domain.Treasurer, domain.Funder, domain.Auditor} // of reports that were issued
	recorders    = []domain.Role{domain.Coordinator, domain.Adviser, domain.Keeper, domain.Treasurer}
)

// mayAsk says who may ask for each operation that needs a token.
var mayAsk = map[string][]domain.Role{
	"recordEntries":          recorders, // each kind for some of them, see mayRecord
	"reverseEntry":           recorders,
	"listEntries":            readers,
	"getEntry":               readers,
	"getPerformance":         readers,
	"getForecast":            readers,
	"getLineage":             readers,
	"getStore":               readers,
	"getOverview":            readers,
	"listAdvice":             readers,
	"listVisits":             readers,
	"compareGroups":          readers,
	"compareCost":            readers,
	"listQuestions":          readers,
	"answerQuestion":         answerers,
	"listAccounts":           offices,
	"getCoop":                readers,
	"reviseCoop":             coordinators,
	"listSites":              readers,
	"createSite":             coordinators,
	"getSite":                readers,
	"reviseSite":             coordinators,
	"listUnits":              readers,
	"createUnit":             coordinators,
	"getUnit":                readers,
	"reviseUnit":             coordinators,
	"listUnitRevisions":      readers,
	"listLoops":              readers,
	"createLoop":             coordinators,
	"getLoop":                readers,
	"reviseLoop":             coordinators,
	"listLoopRevisions":      readers,
	"listParties":            readers,
	"createParty":            coordinators,
	"getParty":               readers,
	"reviseParty":            coordinators,
	"listProducts":           readers,
	"createProduct":          coordinators,
	"getProduct":             readers,
	"reviseProduct":          coordinators,
	"listProductRevisions":   readers,
	"listEquipment":          readers,
	"createEquipment":        coordinators,
	"getEquipment":           readers,
	"reviseEquipment":        coordinators,
	"listEquipmentRevisions": readers,
	"listBatches":            readers,
	"createBatch":            stockers,
	"getBatch":               readers,
	"reviseBatch":            stockers,
	"listSpecies":            readers,
	"checkTransport":         readers,
	"getCapacity":            readers,
	"getRation":              readers,
	"listSpeciesLimits":      readers,
	"listLimits":             readers,
	"createLimit":            coordinators,
	"getLimit":               readers,
	"reviseLimit":            coordinators,
	"listPeriods":            readers,
	"createPeriod":           stockers,
	"getPeriod":              readers,
	"revisePeriod":           stockers,
	"listRounds":             readers,
	"createRound":            coordinators,
	"getRound":               readers,
	"reviseRound":            coordinators,
	"setRoundState":          coordinators,
	"planRound":              coordinators,
	"getPlan":                offices,
	"listOrders":             readers,
	"createOrders":           coordinators,
	"getOrder":               readers,
	"listOrderVersions":      offices,
	"changeOrder":            coordinators,
	"payDeposit":             coordinators,
	"listRequests":           readers,
	"createRequest":          stockers,
	"getRequest":             readers,
	"reviseRequest":          stockers,
	"listQuotes":             offices,
	"createQuote":            coordinators,
	"getQuote":               offices,
	"reviseQuote":            coordinators,
	"listMembers":            offices,
	"createMember":           coordinators,
	"getMember":              offices,
	"reviseMember":           coordinators,
	"listTokens":             overseers,
	"createToken":            coordinators,
	"revokeToken":            coordinators,
	"listAudit":              overseers,
	"listSeals":              offices,
	"getSeal":                offices,

	"listDeliveries":        readers,
	"recordDeliveries":      stockers,
	"getDelivery":           readers,
	"reverseDelivery":       stockers,
	"compareAllotments":     offices,
	"fixAllotment":          coordinators,
	"listClaims":            readers,
	"answerClaim":           treasurers,
	"getCharges":            readers,
	"listRoundPayments":     readers,
	"recordRoundPayment":    treasurers,
	"getStatement":          readers,
	"getSupplierRecord":     readers,
	"listGrants":            offices,
	"createGrant":           coordinators,
	"getGrant":              offices,
	"reviseGrant":           coordinators,
	"listGrantCosts":        offices,
	"createGrantCost":       treasurers,
	"getGrantCost":          offices,
	"reviseGrantCost":       treasurers,
	"listIndicators":        offices,
	"createIndicator":       coordinators,
	"getIndicator":          offices,
	"reviseIndicator":       coordinators,
	"getIndicatorCatalogue": readers,
	"listFactors":           offices,
	"createFactor":          coordinators,
	"getFactor":             offices,
	"reviseFactor":          coordinators,
	"listReports":           audience,
	"createReport":          coordinators,
	"getReport":             audience,
	"reviseReport":          coordinators,
	"getReportDocument":     audience,
	"issueReport":           coordinators,
	"checkReport":           audience,
	"createRestatement":     coordinators,
	"listReportLinks":       coordinators,
	"createReportLink":      coordinators,
	"revokeReportLink":      coordinators,
}

// mayRecord says who may record entries of each kind, and reverse them.
var mayRecord = map[string][]domain.Role{
	"stocking":  stockers,
	"death":     stockers,
	"sample":    stockers,
	"count":     stockers,
	"move":      stockers,
	"harvest":   stockers,
	"crop":      stockers,
	"feeding":   stockers,
	"use":       stockers,
	"stocktake": stockers,
	"sent":      stockers,
	"received":  stockers,
	"water":     stockers,
	"treatment": stockers,
	"visit":     visitors,
	"tally":     stockers,
	"incident":  stockers,
	"receipt":   bookkeepers,
	"expense":   bookkeepers,
	"labour":    bookkeepers,
	"sale":      bookkeepers,
	"payment":   bookkeepers,
	"reversal":  recorders, // of a kind that is for them
}

// checkRoles refuses an operation of which nothing says who may ask for it, and a
// contract that says something else than the table.
func checkRoles(id string, o *operation) error {
	want, known := mayAsk[id]
	if o.public {
		want = []domain.Role{"anyone"}
	}
	if known == o.public {
		return fmt.Errorf("operation %s: the table of roles has rows for the operations that need a token, all of them and no others", id)
	}
	if !slices.Equal(o.roles, want) {
		return fmt.Errorf("operation %s: x-roles is %q, and the table of roles says %q", id, o.roles, want)
	}
	return nil
}

// checkTables refuses rows for what is not in the contract.
func (v *validator) checkTables() error {
	ids := map[string]bool{}
	for _, o := range v.operations {
		ids[o.route.Operation.OperationID] = true
	}
	for id := range mayAsk {
		if !ids[id] {
			return fmt.Errorf("the table of roles has a row for %s, which is no operation", id)
		}
	}
	for _, kind := range v.kinds {
		if len(mayRecord[kind]) == 0 {
			return fmt.Errorf("no role may record entries of the kind %s", kind)
		}
	}
	if len(v.kinds) != len(mayRecord) {
		return fmt.Errorf("%d kinds in the contract, and roles for %d", len(v.kinds), len(mayRecord))
	}
	return nil
}
