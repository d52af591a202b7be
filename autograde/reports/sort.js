"use strict";
for (const table of document.querySelectorAll("table")) {
  const heads = [...table.tHead.rows[0].cells], body = table.tBodies[0];
  const key = (row, column) => {
    const cell = row.cells[column];
    const text = cell.dataset.sort ?? cell.textContent.trim();
    return text !== "" && !isNaN(text) ? Number(text) : text;
  };
  const compare = (a, b) => {
    if (a === "" || b === "") return (a === "") - (b === "");
    if (typeof a === "number" && typeof b === "number") return a - b;
    return String(a).localeCompare(String(b), "en", { numeric: true });
  };
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      heads.forEach((each) => each.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const rows = [...body.rows].map((row) => [key(row, column), row]);
      rows.sort(([a], [b]) => (a === "" || b === "" ? compare(a, b) : (down ? -1 : 1) * compare(a, b)));
      body.append(...rows.map(([, row]) => row));
    });
  });
}
