package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"flowrigd/config"
	"flowrigd/daq/peer"
)

// webhook posts each alarm as a JSON object.
type webhook struct {
	url       string
	tokenFile string
	client    *http.Client
}

func newWebhook(c config.Notify) (*webhook, error) {
	secure, err := peer.TLS("", c.CAFile)
	if err != nil {
		return nil, err
	}
	w := &webhook{url: c.Webhook, tokenFile: c.TokenFile}
	if _, err := peer.Secret("token_file", w.tokenFile); err != nil {
		return nil, err
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.TLSClientConfig = secure
	// Alarms are rare: a connection kept for the next one would be found dead
	// then.
	transport.DisableKeepAlives = true
	w.client = &http.Client{Transport: transport, CheckRedirect: sameReceiver}
	return w, nil
}

// sameReceiver follows only what repeats the same request at the same host:
// neither alarm nor token goes to anybody else.
func sameReceiver(next *http.Request, before []*http.Request) error {
	first := before[0].URL
	if next.Method != http.MethodPost || next.URL.Host != first.Host || next.URL.Scheme != first.Scheme || len(before) > 3 {
		return http.ErrUseLastResponse
	}
	return nil
}

// send posts the one message of a batch.
func (w *webhook) send(ctx context.Context, batch []*message) error {
	for _, m := range batch {
		if err := w.post(ctx, m); err != nil {
			return err
		}
	}
	return nil
}

func (w *webhook) post(ctx context.Context, m *message) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, w.url, bytes.NewReader(m.body))
	if err != nil {
		return err
	}
	token, err := peer.Secret("token_file", w.tokenFile)
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "flowrigd")
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := w.client.Do(req)
	if err != nil {
		return withoutAddress(err)
	}
	defer resp.Body.Close()
	_, _ = io.CopyN(io.Discard, resp.Body, 4096) // what it says is not needed
	return verdict(resp)
}

// withoutAddress keeps the webhook's path, which may be a secret, out of logs.
func withoutAddress(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return fmt.Errorf("post: %w", u.Err)
	}
	return err
}

// verdict makes an error of an answer that is not 2xx (RFC 9110, 15). 408, 425
// and 429 ask for another attempt; the other 4xx refuse the message.
func verdict(resp *http.Response) error {
	status := resp.StatusCode
	if status >= 200 && status < 300 {
		return nil
	}
	f := &failure{cause: fmt.Errorf("post: answered %s", resp.Status), after: retryAfter(resp.Header.Get("Retry-After"), time.Now())}
	switch {
	case status >= 300 && status < 400:
		f.cause = fmt.Errorf("post: answered %s, and alarms follow no redirection to another address; write the new one in webhook", resp.Status)
	case status == http.StatusUnauthorized || status == http.StatusForbidden:
		f.cause = fmt.Errorf("post: answered %s; check token_file", resp.Status)
	case status == http.StatusRequestTimeout || status == http.StatusTooEarly || status == http.StatusTooManyRequests:
	case status >= 400 && status < 500:
		f.refused = true
	}
	return f
}

// retryAfter reads seconds or a date (RFC 9110, 10.2.3); 0 for anything else.
func retryAfter(text string, now time.Time) time.Duration {
	if n, err := strconv.ParseUint(text, 10, 31); err == nil {
		return time.Duration(n) * time.Second
	}
	if at, err := http.ParseTime(text); err == nil {
		return max(0, at.Sub(now))
	}
	return 0
}
