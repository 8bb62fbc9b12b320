// The overlay's own words; sentences of the advice come from the service in its language.

const en = {
  verdict: {
    guaranteed: "guaranteed", in_range: "if near enough", beats: "beats", holds: "holds", risky: "a guess",
    trades: "trades", loses: "loses", unknown: "unknown",
  },
  tried: (successes, tries) => `lab: ${successes} of ${tries}`,
  window: (frames) => `${frames}-frame window`,
  just: "just frame",
  usage: `Add a channel: overlay?channel=NAME
More: corner=bottom-left|bottom-right|bottom|top-left|top-right|top, scale=0.5..4, theme=dark|light|bare, language=en|de, hold=SECONDS, safe=PERCENT, key=KEY.
For study, replays, casting and practice; rules on live help in competition are the organiser's and the game's, and come first.`,
};

const de = {
  verdict: {
    guaranteed: "garantiert", in_range: "wenn nah genug", beats: "schlägt", holds: "hält", risky: "geraten",
    trades: "Trade", loses: "verliert", unknown: "unbekannt",
  },
  tried: (successes, tries) => `Lab: ${successes} von ${tries}`,
  window: (frames) => `Fenster: ${frames} Frames`,
  just: "genau ein Frame",
  usage: `Es fehlt der Kanal: overlay?channel=NAME
Dazu: corner=bottom-left|bottom-right|bottom|top-left|top-right|top, scale=0.5..4, theme=dark|light|bare, language=en|de, hold=SEKUNDEN, safe=PROZENT, key=SCHLÜSSEL.
Für Studium, Wiederholungen, Kommentar und Übung; Regeln zu Hilfe im Wettbewerb machen Veranstalter und Spiel, und sie gehen vor.`,
};

/** The words of a language; English for one that there are none of. */
export function overlayWords(language) {
  return { en, de }[language.split("-")[0]] ?? en;
}
