// Before anything is drawn, so that no white page flashes up in the dark. A cookie and not the page's own storage,
// because storage belongs to one port and the port is another one each time. A page that is a file has no cookies, and is red
// until somebody chooses: it is opened in the dark.
(() => {
  const themes = ["device", "light", "dark", "night"];
  const alone = "alone" in document.documentElement.dataset;
  const stored = () => { try { return localStorage.getItem("subwell-theme"); } catch { return null; } };
  const kept = alone ? stored() : /(?:^|; )subwell-theme=([a-z]+)/.exec(document.cookie)?.[1];
  const show = (theme) => {
    document.documentElement.dataset.theme = theme;
    for (const button of document.querySelectorAll("[data-theme-to]")) {
      button.setAttribute("aria-pressed", String(button.dataset.themeTo === theme));
    }
  };
  show(themes.includes(kept) ? kept : alone ? "night" : "device");
  document.addEventListener("DOMContentLoaded", () => {
    show(document.documentElement.dataset.theme);
    document.querySelector(".themes").addEventListener("click", (event) => {
      const theme = event.target.dataset && event.target.dataset.themeTo;
      if (!themes.includes(theme)) return;
      if (alone) try { localStorage.setItem("subwell-theme", theme); } catch { /* for this time only */ }
      else document.cookie = `subwell-theme=${theme}; Max-Age=31536000; Path=/; SameSite=Strict`;
      show(theme);
    });
  });
})();
