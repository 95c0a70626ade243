/* Search in the handbook and the records, from a web server or from file://.
   The index and the library are fetched when the search box is first used; rows of charges and lots only if a
   question can be about them. */
(() => {
  "use strict";

  const ROOT = document.body.dataset.root || "";
  const IN_BOX = 3;
  const IN_PAGE = 8;
  /* Words of a question that name nothing, without accents; a reader of another language asks in English too. */
  const STOP_WORDS_OF = {
    en: "a about after an and any are as at be by can did do does for from have how i in is it me mean meaning means my of on or our should show tell that the there this to was we what when where which who why will with you your",
    fr: "a apres au aux avec c ce ces cela cette combien comme comment d dans de des doit dois du elle en est et faut il ils j je l la le les leur lorsque lui m ma mes moi mon n ne nos notre nous on ou par peut peux plus pour pourquoi puis qu quand que quel quelle quelles quels qui quoi s sa sans se ses si signifie son sont sur t ta tes un une veut dire vos votre vous y",
    de: "ab als am an auf aus bei beim bedeutet bin bis da das dass dem den der des die dies diese dieser dieses du ein eine einem einen einer eines er es fur gibt habe haben hat heißt ich ihr im in ist kann mein meine mit muss nach nicht oder sein sie sind so soll sollte um und uns unser unsere vom von vor wann warum was welche welchem welchen welcher welches wenn wer werden wie wieso wird wo wir zu zum zur uber",
  };
  const LANGUAGE = document.documentElement.lang;
  const STOP_WORDS = new Set(
    `${STOP_WORDS_OF.en} ${LANGUAGE === "en" ? "" : STOP_WORDS_OF[LANGUAGE] || ""}`.split(" "),
  );

  /* ---- words: the same for texts and questions ------------------------------------------------ */

  function plain(text) {
    return text
      .normalize("NFKD")
      .replace(/[\u0300-\u036f]/g, "")
      .toLowerCase()
      .replace(/[\u202f\u00a0]/g, " ");
  }

  // a thickness is one word however it is written: quarters of an inch, as hardwood is sold
  const THICKNESS =
    /(?:(\d+)\/4)(?![\d/])|(?:(\d+)[ -])?(\d+(?:[.,]\d+)?|\d\/\d)\s*(mm|in\b|inch(?:es)?\b|")/g;

  function fraction(text) {
    const parts = text.split("/");
    return parts.length === 2 ? parts[0] / parts[1] : parseFloat(text.replace(",", "."));
  }

  function quarters(match) {
    if (match[1]) {
      return +match[1];
    }
    let size = fraction(match[3]);
    if (match[2]) {
      size = /\//.test(match[3]) ? +match[2] + size : size;
    }
    const count = match[4] === "mm" ? size / 6.35 : size * 4;
    return Math.abs(count - Math.round(count)) <= 0.3 ? Math.round(count) : 0;
  }

  function words(text, question) {
    const found = [];
    let rest = plain(text).replace(THICKNESS, (...match) => {
      const count = quarters(match);
      if (count < 2 || count > 32) {
        return match[0];
      }
      found.push(`thick${count}`);
      return question ? " " : match[0];
    });
    rest = rest.replace(/\bt(\d{1,2})\s*-?\s*([a-f])([1-8])\b/g, (_whole, t, letter, number) => {
      found.push(`t${t}-${letter}${number}`);
      return question ? " " : ` t${t} ${letter}${number} `;
    });
    if (!question) {
      // one writer hyphenates what another writes as one word
      (rest.match(/\p{L}+-\p{L}+/gu) || []).forEach((word) => {
        found.push(word.replace("-", ""));
      });
    }
    return found.concat(rest.match(/[\p{L}\p{N}]+/gu) || []);
  }

  // one word for check, checks, checking and checked
  function stem(word) {
    if (!/^\p{Ll}{4,}$/u.test(word)) {
      return word;
    }
    let root = word
      .replace(/ies$/, "y")
      .replace(/([^s])s$/, "$1")
      .replace(/^(.{4,})(?:ing|ed)$/, "$1");
    if (root.length > 2 && /(?:ing|ed)$/.test(word)) {
      root = root.replace(/([bdgmnprt])\1$/, "$1");
    }
    return root;
  }

  /* ---- the index ----------------------------------------------------------------------------- */

  let index;
  let data;
  let coming;
  let named;
  const known = new Set();

  function script(address) {
    return new Promise((resolve, reject) => {
      const element = document.createElement("script");
      element.src = ROOT + address;
      element.onload = resolve;
      element.onerror = reject;
      document.head.append(element);
    });
  }

  function ready() {
    coming =
      coming ||
      Promise.all([
        script("assets/vendor/minisearch.min.js"),
        script("assets/search-index.js"),
        window.kilnfolioRows || script("assets/rows.js"),
        answers(),
      ]).then(build);
    return coming;
  }

  function answers() {
    return Promise.all(["assets/constants.js", "assets/wood.js", "assets/air.js"].map(script)).then(
      () => script("assets/answers.js"),
    );
  }

  function build() {
    data = window.KILNFOLIO_SEARCH;
    data.headings.answer = "Answer";
    index = new window.MiniSearch({
      fields: ["title", "also", "text"],
      tokenize: (text) => words(text),
      processTerm: (term) => {
        const root = stem(term);
        if (!named) {
          known.add(root);
        } // only for texts, not for questions
        return root;
      },
    });
    index.addAll(
      data.entries.map((entry, place) => ({
        id: place,
        title: entry[0],
        also: entry[4],
        text: entry[5],
      })),
    );
    named = new Set();
    data.entries.forEach((entry) => {
      words(`${entry[0]} ${entry[4]}`).forEach((word) => {
        named.add(stem(word));
      });
    });
  }

  /* ---- a question ---------------------------------------------------------------------------- */

  function exact(term) {
    return /\d/.test(term);
  }

  // allow one typing error in a word the handbook does not contain, two in a long one; in words of three letters only
  // if nothing else is found
  function termQuery(term, shortest) {
    return {
      queries: [term],
      prefix: term.length > 1 && !exact(term),
      fuzzy:
        term.length >= shortest && !exact(term) && !known.has(stem(term))
          ? term.length > 8
            ? 2
            : 1
          : false,
    };
  }

  // the units of a question: a word, or several with one meaning; each with the handbook's synonyms
  function unitsOf(question) {
    const terms = words(question, true);
    const telling = terms.filter((term) => !STOP_WORDS.has(term));
    const left = telling.length ? telling : terms;
    const units = [];
    function synonymsOf(phrase) {
      return (data.synonyms[phrase] || []).map((other) => words(other, true));
    }
    [4, 3, 2].forEach((length) => {
      // synonyms of several words, such as "black walnut"
      for (let start = 0; start + length <= left.length; start += 1) {
        const phrase = left.slice(start, start + length).join(" ");
        if (data.synonyms[phrase]) {
          units.push({ words: left.splice(start, length), others: synonymsOf(phrase), joined: "" });
        }
      }
    });
    for (let place = 0; place + 1 < left.length; place += 1) {
      if (named.has(stem(left[place] + left[place + 1]))) {
        // "case hardening" is one word in the handbook
        const pair = left.splice(place, 2);
        units.push({ words: pair, others: [], joined: pair.join("") });
      }
    }
    return units.concat(
      left.map((term) => ({ words: [term], others: synonymsOf(term), joined: "" })),
    );
  }

  function queryOf(unit, shortest) {
    const one = unit.words.length === 1;
    const ways = [
      one ? termQuery(unit.words[0], shortest) : { combineWith: "AND", queries: unit.words },
    ];
    if (unit.joined) {
      ways.push(termQuery(unit.joined, 4));
    }
    unit.others.forEach((other) => {
      ways.push(
        one
          ? { combineWith: "AND", queries: other, boost: { title: 2 } }
          : { combineWith: "AND", queries: other },
      );
    });
    return ways.length > 1 ? { combineWith: "OR", queries: ways } : ways[0];
  }

  const OPTIONS = {
    tokenize: (text) => [text],
    boost: { title: 5, also: 4 },
    weights: { fuzzy: 0.25, prefix: 0.5 },
    maxFuzzy: 2,
  };

  function contentWords(text) {
    return words(text)
      .filter((word) => !STOP_WORDS.has(word))
      .map(stem);
  }

  const DEFINES =
    /^\s*(?:what(?:'s| is| are| does)|define|definition|meaning|qu['’]est|que (?:veut|signifie)|d[ée]finition|was (?:ist|sind|heißt|bedeutet))\b/i;
  const SCHEDULE = /^(?:schedules?|programmes?|trocknungspl[aä]ne?s?)$/i;

  // a title with the words of the question and little else ranks highest
  function ranked(results, asked, question) {
    const thick = asked.some((word) => /^thick\d/.test(word));
    const kinds = {
      // a thickness suggests that a schedule is wanted, and the word "schedule" even more
      schedule:
        (thick ? 3 : 1) * (question.split(/\s+/).some((word) => SCHEDULE.test(word)) ? 4 : 1),
      // prefer the handbook, which says what to do, to the glossary, unless a definition is asked for
      term: DEFINES.test(question) ? 1.6 : 0.35,
      // whoever means a limit writes its name, which counts more as a title
      check: 0.8,
      limit: 0.3,
      trend: 0.5,
    };
    results.forEach((result) => {
      result.score *= kinds[data.entries[result.id][1]] || 1;
      const title = contentWords(data.entries[result.id][0]);
      const recall = asked.filter((word) => title.indexOf(word) >= 0).length / asked.length;
      const precision =
        title.filter((word) => asked.indexOf(word) >= 0).length / (title.length || 1);
      result.score *= title.join(" ") === asked.join(" ") ? 3 : 1 + recall * recall * precision;
    });
    return results.sort((a, b) => b.score - a.score || a.id - b.id);
  }

  function find(question) {
    let units = unitsOf(question);
    const named = units.filter((unit) => !SCHEDULE.test(unit.words.join(" ")));
    if (named.length) {
      units = named;
    } // "schedule" only affects the ranking; see ranked
    const asked = words(question, true)
      .filter(
        (term, _place, all) => !STOP_WORDS.has(term) || all.every((other) => STOP_WORDS.has(other)),
      )
      .filter((word) => !named.length || !SCHEDULE.test(word))
      .map(stem);
    function ask(combine, shortest) {
      const queries = units.map((unit) => queryOf(unit, shortest));
      return queries.length
        ? ranked(index.search({ combineWith: combine, queries: queries }, OPTIONS), asked, question)
        : [];
    }
    const all = ask("AND", 4);
    if (all.length >= IN_BOX) {
      return all;
    }
    // after results with every word, those with some of them
    const held = new Set(all.map((result) => result.id));
    return all.concat(ask("OR", all.length ? 4 : 3).filter((result) => !held.has(result.id)));
  }

  /* ---- charges and lots ------------------------------------------------------------------------ */

  const broken = new Map();

  // whether a word of the question equals or starts a word of a record
  function matches(term, text) {
    if (!broken.has(text)) {
      broken.set(text, Array.from(new Set(words(text).map(stem))));
    }
    const root = stem(term);
    return broken
      .get(text)
      .some(
        (word) => word === root || (term.length > 2 && !exact(term) && word.indexOf(root) === 0),
      );
  }

  // rows found by number or, if there are none, by words
  function records(question) {
    const api = window.kilnfolioRows;
    return api.byNumber(question).then((hits) => {
      if (hits.length) {
        return { first: true, hits: hits };
      }
      const units = unitsOf(question).map((unit) => [unit.words].concat(unit.others));
      return api.byWords(units, matches).then((found) => ({ first: false, hits: found }));
    });
  }

  // charges and lots that match all words of a text
  function recordsOf(text) {
    const units = unitsOf(text).map((unit) => [unit.words].concat(unit.others));
    return window.kilnfolioRows.byWords(units, matches);
  }

  // answers of search itself, before its results
  function withAnswers(question, groups) {
    return window
      .kilnfolioAnswers(question, recordsOf)
      .catch(() => [])
      .then((entries) => {
        const own = entries.map((entry) => [entry, []]);
        return own.length
          ? [{ kind: "answer", total: own.length, entries: own, all: "" }].concat(groups)
          : groups;
      });
  }

  function recordEntry({ part, row }) {
    const value = (key) => part.value(row, key);
    const percent = (value, before, after) =>
      value === null ? "" : `, ${before}${window.kilnfolio.numbers.number(value, 1)} %${after}`;
    const entry = (name, kind, text) => [
      `${name} ${value("number")}`,
      kind,
      window.kilnfolioRows.page(part, row),
      "",
      "",
      text,
    ];
    const date = window.kilnfolioRows.isoDay(value("day"));
    if (part.kind === "charges") {
      const found = value("found") ? ` Found at grading: ${value("found")}.` : "";
      const dried = `${value("stock")}, ${value("kiln")}, started ${date}`;
      const end = percent(value("final_mc"), "", " at the end");
      return entry("Charge", "charge", `${dried}${end}. Checks: ${value("outcome")}.${found}`);
    }
    const lot = `${value("product")}, ${value("species")}, issued ${date}: ${value("verdict")}`;
    const mean = percent(value("mean_mc"), "mean ", "");
    return entry("Lot", "lot", `${lot}${mean}. Dried in ${value("charges")}.`);
  }

  /* ---- results ------------------------------------------------------------------------------- */

  function marked(sentence, terms) {
    const holder = document.createElement("p");
    let last = 0;
    const wanted = new Set(terms);
    const pattern = /T\d{1,2}-[A-F][1-8]|[\p{L}\p{N}/]+(?:\s?mm\b)?/gu;
    for (const match of sentence.matchAll(pattern)) {
      if (words(match[0]).some((term) => wanted.has(stem(term)))) {
        holder.append(sentence.slice(last, match.index));
        const mark = document.createElement("mark");
        mark.textContent = match[0];
        holder.append(mark);
        last = match.index + match[0].length;
      }
    }
    holder.append(sentence.slice(last));
    return holder;
  }

  // the sentence that contains most of the terms
  function bestSentence(text, terms) {
    const wanted = new Set(terms);
    let best = "";
    let most = 0;
    text.split(/\n|(?<=[.!?])\s+(?=\p{Lu})/u).forEach((sentence) => {
      const held = new Set(
        words(sentence)
          .map(stem)
          .filter((term) => wanted.has(term)),
      );
      let score = 0; // of sentences with equally many terms, the one with longer terms is better
      held.forEach((term) => {
        score += 1 + term.length / 100;
      });
      if (score > most) {
        most = score;
        best = sentence;
      }
    });
    if (best.length > 220) {
      const first = words(best).findIndex((term) => wanted.has(stem(term)));
      const from = Math.max(
        0,
        best
          .split(/\s+/)
          .slice(0, Math.max(0, first - 12))
          .join(" ").length,
      );
      best = `${(from ? "… " : "") + best.slice(from, from + 200).trim()} …`;
    }
    return best;
  }

  function resultItem(entry, terms) {
    const item = document.createElement("li");
    const link = document.createElement("a");
    item.className = "hit";
    link.href = ROOT + entry[2];
    link.textContent = entry[0];
    item.append(link);
    if (entry[3]) {
      const within = document.createElement("span");
      within.className = "hit-kind";
      within.textContent = ` ${entry[3]}`;
      item.append(within);
    }
    // for a term, its definition; otherwise the sentence that contains most of the terms
    const sentence =
      entry[1] === "term"
        ? entry[5].split(/ (?:Also called|See)[: ]/)[0].slice(0, 240)
        : bestSentence(entry[5], terms) || entry[5].split("\n")[0].slice(0, 160);
    item.append(marked(sentence, terms));
    return item;
  }

  // the results grouped by kind: [{ kind, total, entries: [[entry, terms], ...], all }]
  function grouped(question, results, found, most) {
    const groups = new Map();
    const own = [];
    results.forEach((result) => {
      const entry = data.entries[result.id];
      if (!groups.has(entry[1])) {
        groups.set(entry[1], { kind: entry[1], total: 0, entries: [], all: "" });
      }
      const group = groups.get(entry[1]);
      group.total += 1;
      if (group.entries.length < most) {
        group.entries.push([entry, result.terms]);
      }
    });
    ["charges", "lots"].forEach((kind) => {
      const hits = found ? found.hits.filter((one) => one.part.kind === kind) : [];
      if (!hits.length) {
        return;
      }
      const terms = words(question, true).map(stem);
      own.push({
        kind: kind.slice(0, -1),
        total: hits.length,
        all: hits.length > most ? `${kind}/index.html` : "",
        entries: hits.slice(0, most).map((one) => [recordEntry(one), terms]),
      });
    });
    return found?.first
      ? own.concat(Array.from(groups.values()))
      : Array.from(groups.values()).concat(own);
  }

  // unchanged results stay in place, so that a focused one keeps the focus
  function show(place, groups) {
    const fresh = document.createElement("div");
    fill(fresh, groups);
    if (fresh.innerHTML !== place.innerHTML) {
      place.replaceChildren(...fresh.childNodes);
    }
  }

  function fill(place, groups) {
    groups.forEach((group) => {
      const heading = document.createElement("h2");
      const list = document.createElement("ol");
      const shown = group.entries.length;
      heading.textContent =
        data.headings[group.kind] + (group.total > shown ? `, ${shown} of ${group.total}` : "");
      group.entries.forEach((pair) => {
        list.append(resultItem(pair[0], pair[1]));
      });
      place.append(heading, list);
      if (group.all) {
        const link = document.createElement("a");
        const line = document.createElement("p");
        link.href = ROOT + group.all;
        link.textContent = `The register of ${group.kind}s`;
        line.append(link);
        place.append(line);
      }
    });
    if (!groups.length) {
      const none = document.createElement("p");
      none.textContent = "Nothing was found. Try another word, or fewer.";
      place.append(none);
    }
  }

  /* ---- the boxes ----------------------------------------------------------------------------- */

  function box(form) {
    const input = form.querySelector("input");
    const page = form.dataset.results ? document.getElementById(form.dataset.results) : null;
    const place = page || form.appendChild(document.createElement("div"));
    if (!page) {
      place.className = "search-results";
      place.setAttribute("aria-live", "polite");
      document.addEventListener("click", (event) => {
        if (!form.contains(event.target)) {
          close();
        }
      });
    }
    let request = 0;
    // results still on their way are not shown either
    function close() {
      request += 1;
      place.replaceChildren();
    }
    function ask() {
      const question = input.value;
      request += 1;
      const mine = request;
      const most = page ? IN_PAGE : IN_BOX;
      function draw(found, whole) {
        return withAnswers(question, grouped(question, find(question), found, most)).then(
          (groups) => {
            if (mine !== request) {
              return;
            } // superseded by a newer request
            const rest = document.getElementById("everything");
            if (groups.length || whole) {
              show(place, groups);
            }
            if (page && rest) {
              rest.hidden = groups.length > 0;
            }
          },
        );
      }
      if (!question.trim()) {
        place.replaceChildren();
        if (page) {
          document.getElementById("everything").hidden = false;
        }
        return;
      }
      ready()
        .then(() => {
          // a question with digits may be a number, which comes first, so wait for the rows
          if (!/\d/.test(question)) {
            draw(null, false);
          }
          return records(question).catch(() => null);
        })
        .then((found) => {
          draw(found, true);
        });
    }
    input.addEventListener("focus", ready, { once: true });
    input.addEventListener("input", ask);
    form.addEventListener("keydown", (event) => {
      if (event.key === "Escape") {
        close();
        input.focus();
      }
    });
    if (page) {
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        ask();
      });
      input.value = new URLSearchParams(location.search).get("q") || "";
      if (input.value) {
        ask();
      }
      input.focus();
    }
  }

  document.querySelectorAll(".search-box").forEach(box);
  // for tests: all results, best group first
  window.kilnfolioSearch = {
    ready: ready,
    find: find,
    answer: (question, most) =>
      ready()
        .then(() => records(question))
        .then((found) =>
          withAnswers(question, grouped(question, find(question), found, most || IN_PAGE)),
        ),
  };
})();
