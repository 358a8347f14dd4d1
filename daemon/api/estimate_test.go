package api

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/estimate"
)

// TestEstimatesAreAskedOnAPage: every question has its form, which works without script, and
// only the one that was asked takes what was typed.
func TestEstimatesAreAskedOnAPage(t *testing.T) {
	get := reader(t, opened(t))
	page := get("/estimates", 200)
	for _, q := range estimate.Questions() {
		requireAll(t, page, `id="`+q.Name+`"`, q.Title)
	}
	requireAll(t, page, "Nothing here is measured", `<option selected>aluminium</option>`)

	page = get("/estimates?question=seam&mould=120+C&thickness=3+mm&metal=steel&unit=f", 200)
	requireAll(t, page, "never in a mould so warm", `value="120 C"`, "<option selected>steel</option>", `<input type="hidden" name="unit" value="f">`, "below 302 °F")
	assert.Equal(t, 1, strings.Count(page, `value="120 C"`), "the others go by their defaults")

	page = get("/estimates?question=injector&bore=%3Cb%3E", 200)
	requireAll(t, page, "does not begin with a number", "&lt;b&gt;")
	assert.NotContains(t, page, "<b>&")
	assert.NotContains(t, page, `"<b>"`)
}
