"use strict";
// The index of a batch: rows come as JSON, a page of them at a time becomes a table. Names of other people reach the
// page as text only.
(() => {
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const told = read("told");
  const NAMES = ["file", "place", "size", "zones", "areas", "cutter", "cutterMm", "ballMm", "cuspUm", "pathMm",
    "minutes", "setups", "repeats", "quantity", "warnings", "family", "like"];
  const parts = read("rows").map((row) => Object.fromEntries(row.map((value, k) => [NAMES[k], value])));
  const failures = read("failures").map(([file, reason, command]) => ({ file, reason, command }));
  const PAGE = 100;
  // Printed with pictures up to so many rows: a picture has to be fetched for each.
  const MOST_PICTURES = 300;
  // And so many at all: browsers take minutes to lay out ten thousand rows on paper.
  const MOST_PRINTED = 1000;
  const SVG = "http://www.w3.org/2000/svg";
  const byId = (id) => document.getElementById(id);
  const collator = new Intl.Collator(undefined, { numeric: true });

  const make = (name, attributes = {}, ...inside) => {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.append(...inside);
    return element;
  };
  const draw = (svg, name, attributes, words) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (words !== undefined) element.textContent = words;
    svg.append(element);
  };
  const sum = (values) => values.reduce((all, value) => all + value, 0);
  const number = (value) => value === null ? "" : Math.abs(value) >= 100
    ? value.toLocaleString("en", { maximumFractionDigits: 0 })
    : Number(value.toPrecision(3)).toLocaleString("en", { maximumFractionDigits: 6 });
  const time = (minutes) => minutes === null ? "" : minutes < 600 ? `${number(minutes)} min` : `${number(minutes / 60)} h`;
  const counted = (count, one) => `${count.toLocaleString("en")} ${one}${count === 1 ? "" : "s"}`;
  const per = (value, unit) => value === null ? null : value / unit;
  const percent = (share) => share < 0.01 ? "<1 %" : `${Math.round(100 * share)} %`;

  // ------------------------------------------------------------------------------------------------ cells
  const nameCell = (part) => {
    const cut = part.file.lastIndexOf("/") + 1;
    const links = make("span", { class: "links" });
    const link = (file, words) => links.append(make("a", { href: `${told.plans}${part.place}/${file}` }, words));
    if (told.reports) link("report.html", "report");
    if (told.pictures) link("zone_map.png", "zone map");
    link("plan.json", "plan.json");
    const cell = [make("b", {}, make("bdi", {}, part.file.slice(cut)))];
    if (cut) cell.push(make("small", {}, make("bdi", {}, `in ${part.file.slice(0, cut - 1)}`)));
    const size = `${part.size.map((side) => number(side / told.lengthMm)).join(" \u00d7 ")} ${told.lengthSign}`;
    return [...cell, make("span", { class: "size" }, size), links];
  };
  const pictureCell = (part) => {
    const picture = make("img", {
      src: `${told.thumbnails}${part.place}.png`, width: 96, height: 72, loading: "lazy", decoding: "async",
      alt: `zone map of ${part.file}`,
    });
    return [make("a", { href: `${told.plans}${part.place}/${told.reports ? "report.html" : "zone_map.png"}` }, picture)];
  };
  // names of tools tell their diameter as a rule
  const cutterCell = (part) => {
    const diameter = number(part.cutterMm / told.lengthMm);
    const isTold = part.cutter.includes(diameter);
    return [make("bdi", {}, part.cutter), ...(isTold ? [] : [make("small", {}, ` ${diameter} ${told.lengthSign}`)])];
  };
  const areaCell = (part) => {
    const all = sum(part.areas);
    const bar = make("div", { class: "bar", "aria-hidden": "true" });
    const words = [];
    part.areas.forEach((area, k) => {
      if (area <= 0) return;
      const stripe = make("i", { class: told.classes[k] });
      stripe.style.width = `${100 * area / all}%`;
      bar.append(stripe);
      words.push(`${told.classes[k]} ${percent(area / all)}`);
    });
    return [bar, make("span", { class: "shares" }, words.join(", "))];
  };
  const warningsCell = (part) => {
    if (!part.warnings.length) return [];
    const list = make("ul", {}, ...part.warnings.map((line) => make("li", {}, line)));
    return [make("details", {}, make("summary", { "aria-label": counted(part.warnings.length, "warning") }, String(part.warnings.length)), list)];
  };
  // part and zones have to be looked at: numbers that agree are a hint
  const likeCell = (part) => {
    if (part.like === null) return [];
    const [file, share] = part.like;
    const button = make("button", { type: "button", class: "family" }, `family ${part.family}`);
    button.title = "show only the parts of this family";
    button.addEventListener("click", () => {
      byId("by-family").value = String(part.family);
      byId("by-family").dispatchEvent(new Event("input"));
    });
    const by = share < 0.001 ? "within 0.1 %" : `within ${number(100 * share)} %`;
    return [button, make("small", {}, ` like `, make("bdi", {}, file), `, ${by}`)];
  };
  const plain = (words) => [String(words)];
  const knows = (key) => parts.some((part) => part[key] !== null);

  // A column: heading, unit, what it is sorted by, what it shows, its class.
  const column = (heading, unit, key, show, name = "number") => ({ heading, unit, key, show, name });
  const length = (heading, key) => column(heading, told.lengthSign, (part) => part[key],
    (part) => plain(number(per(part[key], told.lengthMm))));
  const columns = [
    told.pictures && column("", "", null, pictureCell, "picture"),
    column("part", "", (part) => part.file, nameCell, "name"),
    knows("minutes") && column("time", "", (part) => part.minutes, (part) => plain(time(part.minutes))),
    told.quantities && column("quantity", "", (part) => part.quantity, (part) => plain(number(part.quantity))),
    told.quantities && knows("minutes") && column("time of all", "",
      (part) => part.minutes === null ? null : part.quantity * part.minutes,
      (part) => plain(part.minutes === null ? "" : time(part.quantity * part.minutes))),
    column("area by slope", "", null, areaCell, "area"),
    column("area", `${told.lengthSign}²`, (part) => sum(part.areas),
      (part) => plain(number(sum(part.areas) / told.lengthMm ** 2))),
    column("zones", "", (part) => part.zones, (part) => plain(number(part.zones))),
    column("repeats", "", (part) => part.repeats, (part) => plain(number(part.repeats))),
    column("set-ups", "", (part) => part.setups, (part) => plain(number(part.setups))),
    knows("ballMm") && length("ball needed", "ballMm"),
    column("finish cutter", "", (part) => part.cutterMm, cutterCell, "cutter"),
    knows("cuspUm") && column("cusp", told.cuspSign, (part) => part.cuspUm,
      (part) => plain(number(per(part.cuspUm, told.cuspUm)))),
    column("finish path", told.pathSign, (part) => part.pathMm, (part) => plain(number(part.pathMm / told.pathMm))),
    knows("family") && column("alike", "", (part) => part.family, likeCell, "alike"),
    column("warnings", "", (part) => part.warnings.length, warningsCell, ""),
  ].filter(Boolean);
  const failureColumns = [
    column("part", "", (part) => part.file, (part) => [make("bdi", {}, part.file)], "name"),
    column("reason", "", (part) => part.reason, (part) => plain(part.reason), ""),
    column("to try again", "", null, (part) => [make("code", {}, part.command)], ""),
  ];

  // ------------------------------------------------------------------------------------------------ tables
  const order = (key, turn) => (a, b) => {
    const [one, other] = [key(a), key(b)];
    if (one === null || other === null) return (one === null) - (other === null); // what is not known comes last
    return turn * (typeof one === "string" ? collator.compare(one, other) : one - other);
  };
  const tableOf = (table, pages, all, shape) => {
    let shown = all, page = 0, sorted = null;
    const body = make("tbody");
    const heads = make("tr");
    for (const one of shape) {
      const words = [one.heading, ...(one.unit ? [make("small", {}, one.unit)] : [])];
      if (!one.heading) { heads.append(make("td")); continue; }
      const head = make("th", { scope: "col", class: one.name });
      if (one.key) {
        const button = make("button", { type: "button" }, ...words);
        button.addEventListener("click", () => {
          // numbers begin with the largest: that is what is looked for
          const first = one.name.startsWith("number") ? "descending" : "ascending";
          const other = first === "ascending" ? "descending" : "ascending";
          const way = head.getAttribute("aria-sort") === first ? other : first;
          for (const one of heads.children) one.removeAttribute("aria-sort");
          head.setAttribute("aria-sort", way);
          sorted = order(one.key, way === "ascending" ? 1 : -1);
          shown = [...shown].sort(sorted);
          page = 0;
          fill();
        });
        head.append(button);
      } else head.append(...words);
      heads.append(head);
    }
    table.append(make("thead", {}, heads), body);
    const step = (words, to, can) => {
      const button = make("button", { type: "button" }, words);
      button.disabled = !can;
      button.addEventListener("click", () => {
        page = to();
        fill();
        const again = [...pages.children].find((one) => one.textContent === words && !one.disabled);
        (again ?? pages.querySelector("button:enabled"))?.focus();
      });
      return button;
    };
    const rowOf = (part, withPictures) => make("tr", {}, ...shape.map((one) => {
      const cell = make("td", one.name ? { class: one.name } : {});
      if (one.name !== "picture" || withPictures) cell.append(...one.show(part));
      return cell;
    }));
    const put = (rows, withPictures) => body.replaceChildren(...rows.map((part) => rowOf(part, withPictures)));
    const fill = () => {
      const last = Math.max(0, Math.ceil(shown.length / PAGE) - 1);
      page = Math.min(page, last);
      put(shown.slice(page * PAGE, (page + 1) * PAGE), true);
      pages.hidden = last === 0;
      const from = page * PAGE + 1;
      pages.replaceChildren(
        step("first", () => 0, page > 0), step("previous", () => page - 1, page > 0),
        make("span", {}, `${from.toLocaleString("en")} to ${Math.min(shown.length, from + PAGE - 1).toLocaleString("en")} ` +
          `of ${shown.length.toLocaleString("en")}`),
        step("next", () => page + 1, page < last), step("last", () => last, page < last),
      );
    };
    fill();
    addEventListener("beforeprint", () => {
      put(shown.slice(0, MOST_PRINTED), shown.length <= MOST_PICTURES);
      if (shown.length <= MOST_PRINTED) return;
      const words = `The first ${MOST_PRINTED.toLocaleString("en")} of ${shown.length.toLocaleString("en")}; all are in the tables beside this page.`;
      body.append(make("tr", {}, make("td", { colspan: shape.length }, words)));
    });
    addEventListener("afterprint", fill);
    return {
      keep: (test) => {
        shown = all.filter(test);
        if (sorted) shown.sort(sorted);
        page = 0;
        fill();
        return shown;
      },
    };
  };

  // ------------------------------------------------------------------------------------------------ plots
  const BOX = { left: 64, right: 530, top: 12, bottom: 254 };
  const ticks = (most, count) => {
    const rough = most / count, power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((k) => k * power).find((k) => k >= rough);
    return Array.from({ length: Math.floor(most / step + 1e-9) + 1 }, (_, k) => k * step);
  };
  const axes = (svg, x, y) => {
    const { left, right, top, bottom } = BOX;
    for (const tick of x.ticks) {
      draw(svg, "path", { class: "grid", d: `M${x.at(tick)} ${top}V${bottom}` });
      draw(svg, "text", { x: x.at(tick), y: bottom + 18, "text-anchor": "middle" }, x.words(tick));
    }
    for (const tick of y.ticks) {
      draw(svg, "path", { class: "grid", d: `M${left} ${y.at(tick)}H${right}` });
      draw(svg, "text", { x: left - 8, y: y.at(tick) + 4, "text-anchor": "end" }, y.words(tick));
    }
    draw(svg, "rect", { class: "frame", x: left, y: top, width: right - left, height: bottom - top });
    draw(svg, "text", { x: (left + right) / 2, y: bottom + 40, "text-anchor": "middle" }, x.name);
    draw(svg, "text", { x: 14, y: (top + bottom) / 2, "text-anchor": "middle", transform: `rotate(-90 14 ${(top + bottom) / 2})` }, y.name);
  };
  const scale = (most, from, to) => (value) => Math.round(10 * (from + (to - from) * value / most)) / 10;
  const plotSum = () => {
    const hasTime = knows("minutes");
    const weights = parts.map((part) => part.quantity * (hasTime ? part.minutes ?? 0 : part.pathMm)).sort((a, b) => b - a);
    const all = sum(weights);
    if (!(all > 0)) return false;
    const count = weights.length;
    let behind = 0, half = 0;
    const at = scale(count, BOX.left, BOX.right), up = scale(1, BOX.bottom, BOX.top);
    let path = `M${at(0)} ${up(0)}`;
    const every = Math.max(1, Math.floor(count / 400));
    weights.forEach((weight, k) => {
      behind += weight;
      if (!half && behind >= all / 2) half = k + 1;
      if ((k + 1) % every === 0 || k === count - 1) path += `L${at(k + 1)} ${up(behind / all)}`;
    });
    const svg = byId("plot-sum");
    axes(svg,
      { at, ticks: ticks(count, 6).filter(Number.isInteger), words: (tick) => tick.toLocaleString("en"), name: "parts, those that take most first" },
      { at: up, ticks: [0, 0.25, 0.5, 0.75, 1], words: (tick) => `${100 * tick} %`, name: hasTime ? "share of all minutes" : "share of all path" });
    draw(svg, "path", { class: "half", d: `M${BOX.left} ${up(0.5)}H${at(half)}V${BOX.bottom}` });
    draw(svg, "path", { class: "curve", d: path });
    byId("words-sum").textContent = `${counted(half, "part")} of ${count.toLocaleString("en")} ` +
      `${half === 1 ? "takes" : "take"} half of all ${hasTime ? "minutes" : "finish path (no material is named, so that minutes are not known)"}.`;
    return true;
  };
  const plotCusp = () => {
    const known = parts.filter((part) => part.minutes !== null && part.cuspUm !== null);
    byId("figure-cusp").hidden = !known.length;
    if (!known.length) return;
    const most = known.reduce((far, part) => [Math.max(far[0], part.minutes), Math.max(far[1], part.cuspUm)], [0, 0]);
    const at = scale(1.04 * most[0] || 1, BOX.left, BOX.right);
    const up = scale(1.08 * most[1] / told.cuspUm || 1, BOX.bottom, BOX.top);
    const svg = byId("plot-cusp");
    axes(svg,
      { at, ticks: ticks(1.04 * most[0] || 1, 6), words: number, name: "minutes of one piece" },
      { at: up, ticks: ticks(1.08 * most[1] / told.cuspUm || 1, 5), words: number, name: `cusp, ${told.cuspSign}` });
    draw(svg, "path", { class: "dots", d: known.map((part) => `M${at(part.minutes)} ${up(part.cuspUm / told.cuspUm)}h0`).join("") });
    const slowest = known.reduce((one, other) => other.minutes > one.minutes ? other : one);
    byId("words-cusp").textContent = `Cusp against minutes, a point a part. The longest, ${slowest.file}, takes ${time(slowest.minutes)}.`;
  };

  // ------------------------------------------------------------------------------------------------ the page
  const total = (name, words) => byId("totals").append(make("div", {}, make("dt", {}, name), make("dd", {}, words)));
  const pieces = sum(parts.map((part) => part.quantity));
  total("parts planned", `${parts.length.toLocaleString("en")} of ${told.found.toLocaleString("en")}`);
  if (told.quantities) total("pieces", pieces.toLocaleString("en"));
  if (knows("minutes")) total(told.quantities ? "time of all pieces" : "time of all", time(sum(parts.map((part) => part.quantity * (part.minutes ?? 0)))));
  total("finish path", `${number(sum(parts.map((part) => part.quantity * part.pathMm)) / told.pathMm)} ${told.pathSign}`);
  total("area", `${number(sum(parts.map((part) => part.quantity * sum(part.areas))) / told.lengthMm ** 2)} ${told.lengthSign}²`);
  total("with warnings", parts.filter((part) => part.warnings.length).length.toLocaleString("en"));
  const missing = told.found - parts.length - failures.length;
  const standing = byId("standing");
  if (failures.length) standing.append(make("a", { href: "#not-planned" }, `${failures.length.toLocaleString("en")} not planned`), ". ");
  if (missing > 0) standing.append(`${missing.toLocaleString("en")} still to do: run the batch again to go on. `);
  const unknown = knows("minutes") ? parts.filter((part) => part.minutes === null).length : 0;
  if (unknown) standing.append(`Minutes of ${counted(unknown, "part")} are not known and not in the sums.`);

  if (parts.length) {
    byId("parts").hidden = false;
    byId("plots").hidden = !plotSum();
    plotCusp();
    const table = tableOf(byId("table-parts"), byId("pages-parts"), parts, columns);
    const most = (areas) => areas.indexOf(Math.max(...areas));
    const limit = (id) => byId(id).value === "" ? null : Number(byId(id).value);
    const filter = () => {
      const words = byId("by-name").value.toLowerCase();
      const slope = byId("by-class").value, ball = limit("by-ball"), minutes = limit("by-minutes");
      const family = limit("by-family");
      const shown = table.keep((part) => part.file.toLowerCase().includes(words)
        && (slope === "" || most(part.areas) === Number(slope))
        && (ball === null || (part.ballMm !== null && part.ballMm <= ball * told.lengthMm * (1 + 1e-9)))
        && (minutes === null || (part.minutes !== null && part.minutes >= minutes))
        && (!byId("by-warnings").checked || part.warnings.length > 0)
        && (family === null || part.family === family)
        && (!byId("by-setups").checked || part.setups > 1));
      const all = sum(shown.map((part) => part.quantity * (part.minutes ?? 0)));
      byId("shown").textContent = `${counted(shown.length, "part")} shown${knows("minutes") ? `, ${time(all)}` : ""}`;
    };
    byId("for-family").hidden = !knows("family");
    const controls = [...document.querySelectorAll(".controls input, .controls select")];
    for (const one of controls) one.addEventListener("input", filter);
    byId("clear").addEventListener("click", () => {
      for (const one of controls) one.type === "checkbox" ? one.checked = false : one.value = "";
      filter();
    });
    filter();
  }
  if (failures.length) {
    byId("not-planned").hidden = false;
    tableOf(byId("table-failures"), byId("pages-failures"), failures, failureColumns);
  }
})();
