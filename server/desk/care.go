package desk

import (
	"github.com/labstack/echo/v4"

	"thudbook/web/page"
)

// care adds the screens for looking after equipment. The calendar and the
// figures per item are read by programs, which show a feed's token.
func (d *Desk) care(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathHealth, d.health, in)
	e.POST(page.PostFeed, d.postFeed, in)
	e.GET("/calendar/:file", d.calendar)
	e.GET("/calendar/:token/bookings.ics", d.bookingFeed)
	e.GET("/metrics/items", d.itemMetrics)
	e.GET("/equipment/use/:id", d.itemUse, in)
	e.GET("/equipment/use/:id/:kind/:entry", d.entry, in)
	e.POST("/equipment/use/:id/:kind/:entry", d.withdrawEntry, in)
	e.POST(page.PostState, d.postState, in)
	e.POST(page.PostCorrection, d.postCorrection, in)
	e.POST(page.PostPlan, d.postPlan, in)
	e.POST(page.PostItemRated, d.postRated, in)
	d.orderRoutes(e, in)
	e.GET(page.PathLabels, d.labels, in)
	e.GET(page.PathPlans, d.plans, in)
	e.POST(page.PostClassPlan, d.postClassPlan, in)
	e.GET(page.PathStockList, d.stockList, in)
	e.GET(page.PathStockList+".csv", d.exportList, in)
	e.POST(page.PostStockCheck, d.checkList, in)
	e.POST(page.PathStockList, d.takeList, in)
	e.GET(page.PathUsage, d.usage, in)
	e.GET(page.PathUsage+".csv", d.usageCSV, in)
	e.GET(page.PathUsage+".pdf", d.usagePDF, in)
}
