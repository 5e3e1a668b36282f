/* What only the browser can know: how large a drop is, where the page is scrolled to, its scheme. */
function kept(how, value) { // a browser may forbid the page to keep anything
  try {
    return window.sessionStorage[how]("roadtest drive", value);
  } catch (refused) {
    return null;
  }
}

let atHand = "";
window.addEventListener("pagehide", function () { // nobody waits for its check any more
  if (atHand) {
    navigator.sendBeacon("drive/" + encodeURIComponent(atHand) + "/left");
  }
});

let pressed = 0;
let lately = null; // the button that was pressed last
document.addEventListener("click", function (event) { // dashboard/asking.py says why
  const button = event.target.closest("button[data-asks]");
  lately = button;
  if (button) {
    pressed += 1; // the same may be asked for again
    window.dash_clientside.set_props(button.dataset.asks, {
      data: {what: JSON.parse(button.dataset.what), nth: pressed},
    });
  }
});
new MutationObserver(function () { // what it asked for puts the like in its place: keys go there
  if (lately && !lately.isConnected && document.activeElement === document.body) {
    const like = Array.from(document.querySelectorAll("button[data-asks]:enabled")).find(
      (one) => one.dataset.asks === lately.dataset.asks && one.dataset.what === lately.dataset.what
    );
    if (like) {
      lately = like;
      like.focus({preventScroll: true});
    }
  }
}).observe(document.documentElement, {childList: true, subtree: true});

window.dash_clientside = Object.assign({}, window.dash_clientside, {
  page: {
    take_dropped: function (contents, names) {
      const none = window.dash_clientside.no_update;
      if (!contents || !contents.length) {
        return [none, none, none];
      }
      const bytes = contents.reduce((sum, one) => sum + one.length * 0.75, 0);
      const most = 64 * 1024 * 1024;
      if (bytes > most || contents.length > 24) {
        const found = contents.length > 24 ? contents.length + " files" : "more than 64 MiB";
        const said = "What was dropped: " + found + " at once; expected at most 24 files and 64 MiB. " +
          "For larger drives use the folder of the server, or roadtest check.";
        return [none, {namespace: "dash_html_components", type: "Div",
          props: {className: "fault", children: said}}, null];
      }
      return [{contents: contents, names: names}, none, null];
    },
    draw_again: function (drawn) { // the drive has changed, or the screen
      const drive = window.dash_clientside.callback_context.triggered_id === "typed";
      window.dispatchEvent(new CustomEvent("roadtest-changed", {detail: drive ? drawn : null}));
      return window.dash_clientside.no_update;
    },
    remember: function (drive) { // so that the page loaded again shows the drive again
      atHand = drive || "";
      kept("setItem", atHand);
    },
  },
});

(function () {
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const touch = window.matchMedia("(pointer: coarse)");
  function tell() {
    if (window.dash_clientside && window.dash_clientside.set_props && document.getElementById("body")) {
      window.dash_clientside.set_props("scheme", {
        data: {dark: dark.matches, touch: touch.matches},
      });
      return true;
    }
    return false;
  }
  dark.addEventListener("change", tell);
  function nameTheDrop() { // dash gives the place for files no name and no role
    const field = document.querySelector("#upload input[type=file]");
    const place = field && field.closest("[tabindex]:not(input)");
    if (!field) {
      return false;
    }
    field.setAttribute("aria-label", "Files of one drive");
    if (place) {
      place.setAttribute("role", "button");
      place.setAttribute("aria-label", "Choose the files of one drive");
    }
    return true;
  }
  function goOn() { // with the drive that was at hand
    const drive = kept("getItem");
    if (!document.getElementById("body")) {
      return false;
    }
    if (drive) {
      window.dash_clientside.set_props("drive-at-hand", {data: drive});
      window.dash_clientside.set_props("tick", {disabled: false});
    }
    return true;
  }
  function heedWaysIn() { // opened by hand, so that the next drive closes it again
    const ways = document.getElementById("ways-in");
    if (ways) {
      ways.addEventListener("toggle", function () {
        window.dash_clientside.set_props("ways-in", {open: ways.open});
      });
    }
    return Boolean(ways);
  }
  const waiting = [goOn, tell, nameTheDrop, heedWaysIn];
  const wait = window.setInterval(function () {
    for (let k = waiting.length - 1; k >= 0; k -= 1) {
      if (waiting[k]()) { waiting.splice(k, 1); }
    }
    if (!waiting.length) {
      window.clearInterval(wait);
    }
  }, 50);
})();
