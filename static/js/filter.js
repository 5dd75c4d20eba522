// Shows of a table the rows that hold what is typed in the field that names it.
document.addEventListener("input", ({ target }) => {
  const table = target.dataset?.filters && document.getElementById(target.dataset.filters);
  if (!table) return;
  const wanted = target.value.trim().toLowerCase();
  let isNone = true;
  for (const row of table.tBodies[0].rows) {
    row.hidden = !row.textContent.replaceAll("\u00a0", " ").toLowerCase().includes(wanted);
    isNone &&= row.hidden;
  }
  const none = table.closest("details")?.querySelector("[data-none]");
  if (none) none.hidden = !isNone;
});
