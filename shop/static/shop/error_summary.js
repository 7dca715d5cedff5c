// The list of errors takes the focus when the page opens, and each line leads to its field. The label
// is what is scrolled into view: with a soft keyboard up, a field alone shows without its question.

export function focusSummary(summary) {
  summary.focus();
  summary.addEventListener("click", (event) => {
    const link = event.target.closest("a[href^='#']");
    const target = link && document.getElementById(link.hash.slice(1));
    if (!target) return;
    const field = target.closest(".field") ?? target;
    event.preventDefault();
    (field.querySelector("label, legend") ?? field).scrollIntoView();
    target.focus({ preventScroll: true });
  });
}
