package api

import (
	"net/http"
	"slices"

	"meltwarden/daemon/view"
)

// indexPage is what the template of the index of pages is filled with.
type indexPage struct {
	head
	Groups []indexGroup
}

type indexGroup struct {
	Head  string
	Pages []indexEntry
}

type indexEntry struct{ Name, About, Address string }

// indexPage lists the pages there are.
func (s *server) indexPage(w http.ResponseWriter, r *http.Request) {
	p := indexPage{head: s.unitless(r, view.Texts().AllPages, pagesPath)}
	for _, g := range view.Index() {
		group := indexGroup{Head: g.Head}
		for _, page := range g.Pages {
			if s.answers(page.Path) && mayOpen(r, page.Path) {
				group.Pages = append(group.Pages, indexEntry{page.Name, page.About, page.Path + p.Carry})
			}
		}
		p.Groups = append(p.Groups, group)
	}
	show(w, http.StatusOK, "pages.html", p)
}

// pagesPath is the address of the index of pages.
const pagesPath = "/pages"

// mayOpen reports whether whoever asks may open a page: none is offered that is refused.
func mayOpen(r *http.Request, path string) bool {
	return slices.Contains(permits[deedOf("GET "+path, "")].who, visitorOf(r).who)
}

// answers reports whether there is a page at a path.
func (s *server) answers(path string) bool {
	pattern := "GET " + path
	if path == "/" {
		pattern += "{$}"
	}
	return slices.ContainsFunc(s.routes(), func(r route) bool { return r.pattern == pattern })
}
