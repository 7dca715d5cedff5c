// "/" goes to the search box, unless a person is typing somewhere.

export function slashToSearch(input) {
  window.addEventListener("keydown", (event) => {
    const typing = event.target.closest?.("input, textarea, select, [contenteditable]");
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || typing) return;
    event.preventDefault();
    input.focus();
    input.select();
  });
}
