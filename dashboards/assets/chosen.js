// What the maker chose stays in this browser; without storage it lasts as long as
// the page.
export const chosen = {
  get: (key) => { try { return localStorage.getItem(key); } catch { return null; } },
  set: (key, value) => { try { localStorage.setItem(key, value); } catch { /* a private window */ } },
};

// useTheme shows the page, and its pictures, in a theme; without one, as the
// system asks.
export function useTheme(theme) {
  const media = (size) => ({ dark: size, light: "not all" }[theme] ?? `${size} and (prefers-color-scheme: dark)`);
  document.querySelector("#dark").media = media("all");
  for (const source of document.querySelectorAll("source[data-size]")) source.media = media(source.dataset.size);
}

export const isDark = () => getComputedStyle(document.documentElement).colorScheme === "dark";
