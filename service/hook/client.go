package hook

import (
	"errors"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"syscall"
	"time"
)

// patience is how long one delivery may take, from the look-up of the name to the head of the answer.
const patience = 10 * time.Second

// Client sends events.
type Client struct {
	http  *http.Client
	local bool
}

// NewClient returns a client that reaches the public internet. With local it also reaches this machine, over http as well:
// that is for receivers in tests.
func NewClient(local bool) *Client {
	const mostHead = 16 << 10 // bytes of the head of an answer; its body is not read
	c := &Client{local: local}
	dialer := &net.Dialer{Control: c.control}
	c.http = &http.Client{
		Timeout: patience,
		// No proxy: it would dial where we do not look. No kept connections: deliveries are rare.
		Transport:     &http.Transport{DialContext: dialer.DialContext, DisableKeepAlives: true, MaxResponseHeaderBytes: mostHead},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	return c
}

var errNotPublic = errors.New("not a public address")

// control looks at the address that a name was resolved to, just before it is dialled: a name may resolve to another address
// than it did when somebody looked before.
func (c *Client) control(_, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil || !c.reaches(at.Addr()) {
		return errNotPublic
	}
	return nil
}

func (c *Client) reaches(a netip.Addr) bool { return Public(a) || c.local && a.Unmap().IsLoopback() }

// special are the ranges that lead nowhere, into the own network, or through a translator to an address that is not looked at:
// the special-purpose registries of RFC 6890 as IANA keeps them, from memory, beside those that net/netip knows.
var special = prefixes(
	"0.0.0.0/8", "100.64.0.0/10", "192.0.0.0/24", "192.0.2.0/24", "192.88.99.0/24", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "240.0.0.0/4",
	"::/96", "64:ff9b::/96", "64:ff9b:1::/48", "100::/64", "2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20", "5f00::/16", "fec0::/10",
	"168.63.129.16/32", // where hosts of virtual machines answer questions about them
)

func prefixes(texts ...string) []netip.Prefix {
	out := make([]netip.Prefix, len(texts))
	for i, t := range texts {
		out[i] = netip.MustParsePrefix(t)
	}
	return out
}

// Public tells whether an address is one of the public internet: neither private, nor of this machine or link (where clouds
// answer with credentials), nor set aside for something else.
func Public(a netip.Addr) bool {
	a = a.Unmap()
	if a.Zone() != "" || !a.IsGlobalUnicast() || a.IsPrivate() {
		return false
	}
	for _, p := range special {
		if p.Contains(a) {
			return false
		}
	}
	return true
}

// Check says what is wrong with an address that is to be told: empty when nothing is. Where its name leads is looked at when
// it is dialled.
func (c *Client) Check(address string) (fault string) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.Hostname() == "" {
		return "must be an address such as https://valves.example.org/garden"
	}
	literal, err := netip.ParseAddr(u.Hostname())
	isLiteral := err == nil
	switch {
	case u.Scheme != "https" && !(u.Scheme == "http" && c.local && isLiteral && literal.IsLoopback()):
		return "must begin with https://"
	case u.User != nil:
		return "must not hold a user name or password: deliveries are signed instead"
	case u.Fragment != "":
		return "must not hold a fragment (#), which is never sent"
	case isLiteral && !c.reaches(literal):
		return "must be reached over the public internet; this address is private or set aside"
	}
	return ""
}
