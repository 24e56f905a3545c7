package config

import (
	"bytes"
	"cmp"
	"net/url"
	"regexp"
	"slices"
	"strconv"

	"github.com/pelletier/go-toml/v2/unstable"
)

// redacted stands for what is not recorded of an address.
const redacted = "/struck-out"

// Redact gives the text of a configuration without its secrets, fit to be
// recorded and handed out: of a webhook's address, and of any address in a
// comment, scheme and host alone are left. All other secrets are in files of
// their own. What is left reads as the same configuration, but for whom it
// tells of alarms; a text without secrets stays as it is. The text must be
// right TOML.
func Redact(text []byte) []byte {
	body := bytes.TrimPrefix(text, []byte(byteOrderMark))
	p := unstable.Parser{KeepComments: true}
	p.Reset(body)
	var edits []edit
	for p.NextExpression() {
		for n := p.Expression(); n != nil; n = n.Next() { // a comment stands beside its line
			edits = secretsOf(&p, n, edits)
		}
	}
	slices.SortFunc(edits, func(a, b edit) int { return cmp.Compare(a.from, b.from) })
	out, done := bytes.Clone(text[:len(text)-len(body)]), 0
	for _, e := range edits {
		out = append(append(out, body[done:e.from]...), e.with...)
		done = e.to
	}
	return append(out, body[done:]...)
}

type edit struct {
	from, to int
	with     []byte
}

// secretsOf looks through one expression and all below it.
func secretsOf(p *unstable.Parser, n *unstable.Node, edits []edit) []edit {
	if n.Kind == unstable.Comment {
		raw := p.Raw(n.Raw)
		if with := anyAddress.ReplaceAll(raw, []byte("$1$2$3"+redacted)); !bytes.Equal(with, raw) {
			edits = append(edits, edit{int(n.Raw.Offset), int(n.Raw.Offset + n.Raw.Length), with})
		}
	}
	if n.Kind == unstable.KeyValue {
		key, v := "", n.Value() // dotted or not, a key may end in webhook
		for it := n.Key(); it.Next(); {
			key = string(it.Node().Data)
		}
		if with := redactAddress(string(v.Data)); key == "webhook" && v.Kind == unstable.String && with != string(v.Data) {
			edits = append(edits, edit{int(v.Raw.Offset), int(v.Raw.Offset + v.Raw.Length), strconv.AppendQuote(nil, with)})
		}
	}
	for it := n.Children(); it.Next(); {
		edits = secretsOf(p, it.Node(), edits)
	}
	return edits
}

// redactAddress leaves scheme and host of an address.
func redactAddress(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return "https://unknown.invalid" + redacted
	}
	if u.User == nil && (u.Path == "" || u.Path == "/") && u.RawQuery == "" && u.Fragment == "" {
		return address
	}
	return u.Scheme + "://" + u.Host + redacted
}

// anyAddress is an address with a path, a query or an account, in a comment.
var anyAddress = regexp.MustCompile(`([A-Za-z][A-Za-z0-9+.-]*://)(?:[^\s"'/?#@]*@([^\s"'/?#]*)[^\s"']*|([^\s"'/?#]+)[/?#][^\s"']+)`)
