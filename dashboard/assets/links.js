/* Links keep the filters in force. No address on a page holds them, so they are added here as
   the reader comes to a link; one that lifts the filters keeps the units. */
window.discward = window.discward || {};

window.discward.searchFor = function (link) {
  if (link.dataset.filters === "kept") {
    return window.location.search;
  }
  var kept = new URLSearchParams();
  new URLSearchParams(window.location.search).forEach(function (word, name) {
    if (name === "pressure" || name === "age") {
      kept.append(name, word);
    }
  });
  return kept.toString();
};

window.discward.openPage = function (event, href) {
  if (event.button || event.ctrlKey || event.metaKey || event.shiftKey) {
    return;
  }
  event.preventDefault();
  window.history.pushState({}, "", href);
  window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
  window.scrollTo(0, 0);
};

["pointerover", "focusin", "click"].forEach(function (kind) {
  document.addEventListener(kind, function (event) {
    var link = event.target.closest && event.target.closest("a[data-filters]");
    if (!link) {
      return;
    }
    link.search = window.discward.searchFor(link);
    if (kind === "click" && !link.hasAttribute("download")) {
      window.discward.openPage(event, link.href);
    }
  });
});

/* A cell that opens a page of this dashboard: text and address only, never markup. */
var dagcomponentfuncs = (window.dashAgGridComponentFunctions =
  window.dashAgGridComponentFunctions || {});

dagcomponentfuncs.PageLink = function (props) {
  if (props.value === null || props.value === undefined) {
    return null;
  }
  var href = "/" + props.page + "/" + encodeURIComponent(props.value);
  return React.createElement("a", { href: href, "data-filters": "kept" }, String(props.value));
};

/* The line of a row that was set aside: opens the page that mends it. */
dagcomponentfuncs.MendLink = function (props) {
  if (props.value === null || props.value === undefined || !props.data) {
    return null;
  }
  var href =
    "/mend/now/" + encodeURIComponent(props.data.table) + "/" + encodeURIComponent(props.value) +
    "?file=" + encodeURIComponent(props.data.file);
  return React.createElement(
    "a", { href: href, "aria-label": "Mend line " + props.value }, "mend " + props.value
  );
};

window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.discward = {
  title: function (title) {
    document.title = title || "discward";
    return window.dash_clientside.no_update;
  },
  /* Other filters are in force: long tables stand as they are and fetch their rows anew. */
  fetchAnew: function () {
    document.querySelectorAll("#body .grid > [id]").forEach(function (grid) {
      window.discward.whenSeen(grid, function () {
        var api = grid.isConnected && window.dash_ag_grid.getApi(grid.id);
        if (api && api.getGridOption("rowModelType") === "infinite") {
          api.purgeInfiniteCache();
        }
      });
    });
    return window.dash_clientside.no_update;
  },
};

document.addEventListener("click", function (event) {
  if (event.target.closest && event.target.closest("button.print")) {
    window.print();
  }
});
