// Arrow keys in tables: one cell or row takes part in the tab order at a time (ARIA authoring practice, roving tabindex).

const STEPS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

/** Rows of focusable things under `root`, as `rows()` gives them; Enter and space open what has the focus. */
export function rove(root, rows, open, closed = null) {
  const first = rows()[0]?.[0];
  if (first) seat(rows(), first);
  root.onkeydown = (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const all = rows();
    const at = find(all, event.target);
    if (!at) return;
    const [row, column] = at;
    let to = null;
    if (STEPS[event.key]) {
      const [down, right] = STEPS[event.key];
      const line = all[Math.min(all.length - 1, Math.max(0, row + down))];
      to = line[Math.min(line.length - 1, Math.max(0, column + right))];
    } else if (event.key === "Home") to = event.shiftKey ? all[0][0] : all[row][0];
    else if (event.key === "End") to = all[row].at(-1);
    else if (event.key === "PageUp") to = all[0][column] ?? all[0][0];
    else if (event.key === "PageDown") to = all.at(-1)[column] ?? all.at(-1)[0];
    else if (event.key === "Enter" || event.key === " ") open(event.target);
    else if (event.key === "Escape" && closed) closed(event.target);
    else return;
    event.preventDefault();
    event.stopPropagation();
    if (to) {
      seat(all, to);
      to.focus();
    }
  };
  root.onclick = (event) => {
    const all = rows();
    const hit = all.flat().find((item) => item.contains(event.target));
    if (!hit) return;
    seat(all, hit);
    hit.focus();
    open(hit);
  };
}

function seat(rows, chosen) {
  for (const item of rows.flat()) item.tabIndex = item === chosen ? 0 : -1;
}

function find(rows, item) {
  for (let row = 0; row < rows.length; row += 1) {
    const column = rows[row].indexOf(item);
    if (column >= 0) return [row, column];
  }
  return null;
}
