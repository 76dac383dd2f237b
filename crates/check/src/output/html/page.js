(() => {
  const left = document.getElementById("left");
  if (!left || !CSS.supports("selector(:has(*))")) return;
  const all = left.dataset.all;
  const found = left.dataset.found;
  const count = () => {
    let shown = 0;
    for (const part of document.querySelectorAll(".part")) {
      part.hidden = false;
      let here = 0;
      for (const group of part.querySelectorAll(".group")) {
        if (getComputedStyle(group).display !== "none") here += group.querySelectorAll(".places > li").length;
      }
      part.hidden = here === 0;
      shown += here;
    }
    const said = shown === Number(all) ? `All ${all} are shown` : `${shown} of ${all} are shown`;
    left.textContent = found === all ? `${said}.` : `${said} that are listed here; ${found} were found.`;
  };
  document.querySelector(".filter").addEventListener("change", count);
  count();
})();
