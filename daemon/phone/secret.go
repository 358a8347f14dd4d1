package phone

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"fmt"
	"strconv"
	"strings"
)

// A secret as it is handed out is the number of its phone, a dash and the secret itself
// in base 32 (RFC 4648, section 6), in small letters: it can be read out and typed. The
// number finds the row, so that only one digest is ever compared, in constant time.

// The sizes of secrets, in bytes. A pairing code is short enough to be typed, at 128 bits;
// what a phone carries for days is longer.
const (
	codeBytes  = 16
	tokenBytes = 32
)

// mostSecret is more letters than any secret has, with the blanks and dashes of people.
const mostSecret = 128

var letters = base32.StdEncoding.WithPadding(base32.NoPadding)

// secret is what was handed in: whose it says it is, and the digest of the rest.
type secret struct {
	id     int64
	digest [sha256.Size]byte
}

// newSecret makes one of n random bytes, and returns it as it is handed out with what is
// kept of it.
func newSecret(id int64, n int) (handed string, digest []byte) {
	raw := make([]byte, n)
	rand.Read(raw) // ends the program rather than return an error
	sum := sha256.Sum256(raw)
	return fmt.Sprintf("%d-%s", id, strings.ToLower(letters.EncodeToString(raw))), sum[:]
}

// parse reads a secret of n bytes; capital letters, and blanks or dashes between letters,
// are those of whoever typed it.
func parse(typed string, n int) (s secret, ok bool) {
	if len(typed) > mostSecret {
		return secret{}, false
	}
	number, rest, found := strings.Cut(strings.TrimSpace(typed), "-")
	id, err := strconv.ParseInt(number, 10, 64)
	if !found || err != nil || id < 1 || number != strconv.FormatInt(id, 10) {
		return secret{}, false
	}
	raw, err := letters.DecodeString(strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(rest)))
	if err != nil || len(raw) != n {
		return secret{}, false
	}
	return secret{id, sha256.Sum256(raw)}, true
}

// fits compares in constant time. Without a digest nothing fits.
func (s secret) fits(digest []byte) bool {
	return subtle.ConstantTimeCompare(s.digest[:], digest) == 1
}
