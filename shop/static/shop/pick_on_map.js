// A tap on a thing of a drawing ticks its box in the form around it. The links of the drawing lead
// to the boxes: without this script a tap goes there.

export function pickOnMap(form) {
  for (const link of form.querySelectorAll("svg a[href^='#']")) {
    const box = document.getElementById(link.getAttribute("href").slice(1));
    if (!box) continue;
    const show = () => link.classList.toggle("picked", box.checked);
    link.addEventListener("click", (event) => {
      event.preventDefault();
      box.checked = !box.checked;
      show();
    });
    box.addEventListener("change", show);
    show();
  }
}
