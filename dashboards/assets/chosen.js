// What the maker chose is kept in this browser, in cookies, so that a page follows it as
// the server sends it; without cookies it lasts as long as the page.
const name = (key) => `meltwarden-${key}`;
const yearS = 365 * 24 * 3600;

export const chosen = {
  get: (key) => document.cookie.split("; ").find((c) => c.startsWith(`${name(key)}=`))?.split("=")[1] ?? null,
  set: (key, value) => { document.cookie = `${name(key)}=${value}; path=/; max-age=${yearS}; samesite=strict`; },
};

// useTheme shows the page, and its pictures, in a theme. Paper is always light.
export function useTheme(theme) {
  const media = (size) => (theme === "dark" ? (size === "all" ? "screen" : `screen and ${size}`) : "not all");
  document.querySelector("#dark").media = media("all");
  for (const source of document.querySelectorAll("source[data-size]")) source.media = media(source.dataset.size);
}

export const isDark = () => getComputedStyle(document.documentElement).colorScheme === "dark";
