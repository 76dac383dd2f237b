(() => {
  const status = document.getElementById("shown");
  if (!status || !CSS.supports("selector(:has(*))")) return;
  const all = status.dataset.all;
  const found = status.dataset.found;
  const count = () => {
    let shown = 0;
    for (const part of document.querySelectorAll(".part")) {
      part.hidden = false;
      let visible = 0;
      for (const group of part.querySelectorAll(".group")) {
        if (getComputedStyle(group).display !== "none") visible += group.querySelectorAll(".places > li").length;
      }
      part.hidden = visible === 0;
      shown += visible;
    }
    const text = shown === Number(all) ? `All ${all} are shown` : `${shown} of ${all} are shown`;
    status.textContent = found === all ? `${text}.` : `${text}. In total there are ${found} findings.`;
  };
  document.querySelector(".filter").addEventListener("change", count);
  count();
})();
