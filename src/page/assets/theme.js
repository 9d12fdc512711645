// Before anything is drawn, so that no white page flashes up in the dark. A cookie and not the page's own storage,
// because storage belongs to one port and the port is another one each time.
(() => {
  const themes = ["device", "light", "dark", "night"];
  const kept = /(?:^|; )subwell-theme=([a-z]+)/.exec(document.cookie);
  const show = (theme) => {
    document.documentElement.dataset.theme = theme;
    for (const button of document.querySelectorAll("[data-theme-to]")) {
      button.setAttribute("aria-pressed", String(button.dataset.themeTo === theme));
    }
  };
  show(kept && themes.includes(kept[1]) ? kept[1] : "device");
  document.addEventListener("DOMContentLoaded", () => {
    show(document.documentElement.dataset.theme);
    document.querySelector(".themes").addEventListener("click", (event) => {
      const theme = event.target.dataset && event.target.dataset.themeTo;
      if (!themes.includes(theme)) return;
      document.cookie = `subwell-theme=${theme}; Max-Age=31536000; Path=/; SameSite=Strict`;
      show(theme);
    });
  });
})();
