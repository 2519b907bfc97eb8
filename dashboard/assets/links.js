/* A cell that opens a page of this dashboard: text and address only, never markup. */
var dagcomponentfuncs = (window.dashAgGridComponentFunctions =
  window.dashAgGridComponentFunctions || {});

dagcomponentfuncs.PageLink = function (props) {
  if (props.value === null || props.value === undefined) {
    return null;
  }
  var href = "/" + props.page + "/" + encodeURIComponent(props.value) + (props.search || "");
  return React.createElement(
    "a",
    {
      href: href,
      onClick: function (event) {
        window.discward.openPage(event, href);
      },
    },
    String(props.value)
  );
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
};

document.addEventListener("click", function (event) {
  if (event.target.closest && event.target.closest("button.print")) {
    window.print();
  }
});
