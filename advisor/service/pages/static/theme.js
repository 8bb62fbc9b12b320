// The theme is set before the first paint, so that nothing flashes. Kept by the browser alone.
"use strict";
(() => {
  const THEMES = ["auto", "light", "dark"];
  const kept = () => {
    try {
      return localStorage.getItem("desk-theme");
    } catch {
      return null;
    }
  };
  const show = (theme) => {
    document.documentElement.dataset.theme = THEMES.includes(theme) ? theme : "auto";
  };
  show(kept());
  window.deskTheme = {
    now: () => document.documentElement.dataset.theme,
    dark: () => {
      const theme = document.documentElement.dataset.theme;
      return theme === "dark" || (theme === "auto" && matchMedia("(prefers-color-scheme: dark)").matches);
    },
    set: (theme) => {
      show(theme);
      try {
        localStorage.setItem("desk-theme", theme);
      } catch {
        // A browser that keeps nothing still shows it.
      }
    },
  };
})();
